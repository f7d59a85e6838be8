"""rack.toml: what it may say, and what a person is told when a field is wrong."""

from pathlib import Path

import pytest

from daemon.config import RackFile
from daemon.errors import BadFile

GOOD = """
[rack]
name = "rack-1"
data = "readings"
[[link]]
name = "left"
kind = "serial"
port = "/dev/ttyACM0"
[[link]]
name = "broker"
kind = "mqtt"
[[bay]]
name = "bay-1"
link = "left"
[[bay]]
name = "bay-2"
link = "broker"
node = "node-2"
rate_hz = 5
[[tell]]
name = "duty"
url = "json://duty/hush"
[[tell]]
name = "second"
url_file = "second.url"
escalate_from = "duty"
"""


def read(tmp_path: Path, text: str) -> RackFile:
    """A rack.toml with this text."""
    path = tmp_path / "rack.toml"
    path.write_text(text)
    return RackFile.from_file(path)


def test_a_good_file_is_read(tmp_path: Path) -> None:
    """Bays keep the order in which they stand; the data folder lies beside the file."""
    config = read(tmp_path, GOOD)
    assert [bay.name for bay in config.bay] == ["bay-1", "bay-2"]
    assert config.rack.data == tmp_path / "readings"
    assert config.tell[1].url_file == tmp_path / "second.url"
    assert "hush" not in repr(config)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('link = "left"', 'link = "right"', "bay[1].link: 'right' is not the name of a [[link]]"),
        ('name = "bay-2"', 'name = "bay-1"', "bay[2].name: 'bay-1' is the name of another bay"),
        ('node = "node-2"', "", "bay[2].node: is missing"),
        ('node = "node-2"', 'node = "alerts"', "bay[2].node: 'alerts' is where open alerts are"),
        ("rate_hz = 5", "[bay.load]\ncontinuous_w = 0", "bay[2].load.continuous_w: should be greater than 0"),
        ("rate_hz = 5", "[bay.load]\ncontinuous_w = 5\nshort_w = 9", "short_w and short_min go together"),
        ("rate_hz = 5", "rate_hz = 0", "bay[2].rate_hz: should be greater than 0"),
        ("rate_hz = 5", "rate = 5", "bay[2].rate: is not a field that is known here"),
        ('kind = "mqtt"', 'kind = "radio"', "link[2]: "),
        (
            '[[link]]\nname = "broker"\nkind = "mqtt"',
            '[[link]]\nname = "broker"\nkind = "serial"\nport = "/dev/../dev/ttyACM0"',
            "link[2].port: /dev/../dev/ttyACM0 is already the port of link 'left'",
        ),
        ("rate_hz = 5", '[bay.channel.heat]\nkind = "line"\ngives="Cel"\nspan=1', "channel 'heat' is not known"),
        (
            "rate_hz = 5",
            '[bay.channel.heatsink]\nkind = "line"\ngives = "Cel"',
            "bay[2].channel.heatsink.span: is missing",
        ),
        (
            "rate_hz = 5",
            '[bay.channel.supply]\nkind = "line"\ngives = "Cel"\nspan = 1',
            "supply.kind: it gives Cel, and supply is in V",
        ),
        ('url = "json://duty/hush"', "", "tell[1]: give either url, or url_file"),
        ('url = "json://duty/hush"', 'url = "hush"', "tell[1]: url: is no apprise URL"),
        ('url = "json://duty/hush"', 'url = "json://a"\npriorities = []', "tell[1].priorities: "),
        (
            'url = "json://duty/hush"',
            'url = "json://a"\nescalate_after_min = 5',
            "tell[1].escalate_after_min: goes with",
        ),
        ('name = "second"', 'name = "duty"', "tell[2].name: 'duty' is the name of another tell"),
        (
            'escalate_from = "duty"',
            'escalate_from = "third"',
            "tell[2].escalate_from: 'third' is not the name of a [[tell]]",
        ),
        ('escalate_from = "duty"', 'escalate_from = "second"', "tell[2].escalate_from: goes round in a circle"),
        ('name = "rack-1"', 'page_url = "bench:8050"', "rack.page_url: "),
        ("[rack]", "[rack", "is not TOML"),
    ],
)
def test_a_wrong_field_is_named_with_what_would_be_right(tmp_path: Path, old: str, new: str, said: str) -> None:
    """The message has the file, the field and the remedy."""
    assert old in GOOD
    with pytest.raises(BadFile) as caught:
        read(tmp_path, GOOD.replace(old, new))
    assert said in str(caught.value)
    assert str(tmp_path / "rack.toml") in str(caught.value)
    assert "hush" not in str(caught.value)  # a URL has secrets in it
