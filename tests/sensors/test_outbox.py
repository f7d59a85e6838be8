"""The outbox: unkeys first, at most one loan a bay, and no loan told late as if it were new."""

import json

from hypothesis import given
from hypothesis import strategies as st

from sensors.backoff import LONGEST_S, Backoff
from sensors.outbox import Order, Outbox


class Hand:
    """A clock that a test sets."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def drained(outbox: Outbox) -> list[Order]:
    """All orders that wait, in the order in which a link tells them."""
    orders = []
    while (order := outbox.next()) is not None:
        orders.append(order)
    return orders


def test_an_unkey_overtakes_queued_renewals_and_forgets_its_own_bays() -> None:
    outbox = Outbox(Hand())
    for bay in ("bay-1", "bay-2", "bay-3"):
        outbox.lend(bay, 3.0, None)
    outbox.unkey("bay-2")
    first, *rest = drained(outbox)
    assert (first.bay, first.on) == ("bay-2", False)
    assert {(o.bay, o.on) for o in rest} == {("bay-1", True), ("bay-3", True)}


def test_a_loan_after_an_unkey_is_told_after_it() -> None:
    outbox = Outbox(Hand())
    outbox.unkey("b")
    outbox.lend("b", 3.0, None)
    assert [o.on for o in drained(outbox)] == [False, True]


def test_a_thousand_renewals_that_wait_are_one() -> None:
    outbox = Outbox(Hand())
    for i in range(1000):
        outbox.lend("b", 3.0, tone=i % 2 == 0)
    (order,) = drained(outbox)
    assert order.tone is False


def test_a_loan_that_waited_is_told_with_what_is_left_of_it_and_not_at_all_when_nothing_is() -> None:
    clock = Hand()
    outbox = Outbox(clock)
    outbox.lend("b", 3.0, None)
    clock.now_s += 1.25
    (order,) = drained(outbox)
    assert json.loads(order.pack(clock()))[1] == {"n": "lease", "u": "s", "v": 1.75}
    outbox.lend("b", 3.0, None)
    clock.now_s += 3.0
    assert drained(outbox) == []


def test_a_loan_told_promptly_is_the_whole_loan() -> None:
    clock = Hand()
    outbox = Outbox(clock)
    outbox.lend("b", 3, None)
    clock.now_s += 0.01
    (order,) = drained(outbox)
    assert json.loads(order.pack(clock()))[1]["v"] == 3


def test_an_unkey_never_takes_back_the_order_to_cut_the_supply() -> None:
    outbox = Outbox(Hand())
    outbox.unkey("b", cut=True)
    outbox.unkey("b")
    (order,) = drained(outbox)
    assert order.cut is True


def test_an_unkey_that_could_not_be_told_is_kept_and_a_loan_is_not() -> None:
    outbox = Outbox(Hand())
    outbox.lend("a", 3.0, None)
    outbox.unkey("b", cut=True)
    for order in drained(outbox):
        outbox.put_back(order)
    (order,) = drained(outbox)
    assert (order.bay, order.on, order.cut) == ("b", False, True)


def test_what_is_put_back_does_not_undo_what_was_asked_since() -> None:
    clock = Hand()
    outbox = Outbox(clock)
    outbox.unkey("b", cut=True)
    (failed,) = drained(outbox)
    clock.now_s += 1.0
    outbox.unkey("b", cut=False)
    outbox.put_back(failed)
    (order,) = drained(outbox)
    assert order.cut is False


@given(st.lists(st.tuples(st.sampled_from("lu"), st.sampled_from("abc")), max_size=30))
def test_the_last_word_on_a_bay_is_the_last_that_is_told(words: list[tuple[str, str]]) -> None:
    outbox = Outbox(Hand())
    last = {}
    for word, bay in words:
        if word == "l":
            outbox.lend(bay, 3.0, None)
        else:
            outbox.unkey(bay)
        last[bay] = word == "l"
    told = {order.bay: order.on for order in drained(outbox)}
    assert told == last


def test_waits_grow_to_a_second_and_never_beyond() -> None:
    backoff = Backoff()
    waits = [backoff.wait_s() for _ in range(20)]
    assert max(waits) <= LONGEST_S
    assert min(waits[10:]) >= LONGEST_S / 2
    backoff.reset()
    assert backoff.wait_s() <= 0.05
