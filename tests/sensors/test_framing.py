"""Serial lines: the CRC finds every flipped bit, and no stream of bytes fills the memory."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sensors.errors import LineRefused
from sensors.framing import LINE_LIMIT_BYTES, LineSplitter, open_line, seal

PACK = b'[{"bn":"bay-3/","n":"key","vb":true}]'


def test_the_crc_is_the_one_of_ieee_802_3() -> None:
    # check value of CRC-32/ISO-HDLC: "123456789" gives cbf43926 (from memory; the usual check of CRC catalogues)
    assert seal(b"123456789") == b"123456789 cbf43926\n"


def test_a_line_opens_to_the_pack_that_was_sealed() -> None:
    assert open_line(seal(PACK).rstrip(b"\n")) == PACK


@given(st.integers(0, len(seal(PACK)) * 8 - 9))
def test_one_flipped_bit_anywhere_is_refused(bit: int) -> None:
    line = bytearray(seal(PACK)[:-1])
    line[bit // 8] ^= 1 << (bit % 8)
    with pytest.raises(LineRefused):
        open_line(bytes(line))


def test_a_wrong_crc_is_told_with_both_values() -> None:
    with pytest.raises(LineRefused) as caught:
        open_line(b"123456789 00000001")
    assert (caught.value.given, caught.value.computed) == (1, 0xCBF43926)


@pytest.mark.parametrize("line", [PACK, b"", b" ", PACK + b" CBF43926", PACK + b" 1234567", PACK + b"12345678"])
def test_a_line_without_a_crc_in_its_form_is_refused(line: bytes) -> None:
    with pytest.raises(LineRefused):
        open_line(line)


def test_without_crc_a_bare_pack_is_admitted_and_a_wrong_crc_still_is_not() -> None:
    assert open_line(PACK, crc=False) == PACK
    assert open_line(seal(PACK)[:-1], crc=False) == PACK
    with pytest.raises(LineRefused):
        open_line(PACK + b" 00000000", crc=False)


def test_a_pack_with_a_line_feed_is_never_sealed() -> None:
    with pytest.raises(LineRefused):
        seal(b"[\n]")


@given(st.lists(st.binary(max_size=20).map(lambda b: b.replace(b"\n", b"")), max_size=10), st.integers(1, 9))
def test_lines_come_whole_however_the_stream_is_cut(lines: list[bytes], step: int) -> None:
    stream = b"".join(line + b"\n" for line in lines)
    splitter = LineSplitter()
    got = [line for i in range(0, len(stream), step) for line in splitter.feed(stream[i : i + step])]
    assert got == [line for line in lines if line]
    assert splitter.pending() == b""


def test_an_endless_line_is_dropped_up_to_its_end_and_never_held() -> None:
    splitter = LineSplitter()
    for _ in range(100):
        assert splitter.feed(b"x" * 100_000) == []
        assert len(splitter.pending()) <= LINE_LIMIT_BYTES
    assert splitter.feed(b"x\nnext\n") == [b"next"]
    assert splitter.too_long == 1


def test_a_line_of_just_the_limit_is_given_out() -> None:
    splitter = LineSplitter(limit_bytes=5)
    assert splitter.feed(b"12345\n123456\n1234\n") == [b"12345", b"1234"]
    assert splitter.too_long == 1
