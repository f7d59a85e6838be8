"""One message to a real mail server and a real web server: what arrives, and what is said when it does not."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable
from datetime import timedelta, timezone
from typing import TYPE_CHECKING

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.delivery.courier import START_S, Courier
from daemon.delivery.hush import hush, kind_of
from daemon.delivery.message import Message, Told, compose
from daemon.errors import SendFailed

if TYPE_CHECKING:
    from tests.daemon.delivery.conftest import Hook, Mails

TOLD = Told(
    alert=7,
    change=12,
    bay="bay-3",
    rule="over-temperature",
    priority="trip",
    time_ns=1_764_054_000 * 10**9,
    text="heatsink 76.0 °C, limit 75.0 °C: look at the fan",
    number="J-5",
    radio="MR-25 no. 014",
)


def test_a_message_says_what_where_when_and_of_which_radio() -> None:
    """Title and lines as README tells; the time has its zone; the link leads to the bay."""
    message = compose(TOLD, "http://bench.example:8050/", timezone(timedelta(hours=1)))
    assert message.title == "bay-3: over-temperature trip"
    assert message.body.splitlines() == [
        "heatsink 76.0 °C, limit 75.0 °C: look at the fan",
        "Job J-5, MR-25 no. 014",
        "2025-11-25 08:00:00+01:00",
        "http://bench.example:8050/bay/bay-3",
        "Alert 7, change 12",
    ]
    assert message.kind == "failure"


def test_a_mail_arrives_whole(mail_server: tuple[Mails, str]) -> None:
    """Subject and text, also beyond ASCII, through a real SMTP server."""
    mails, url = mail_server
    Courier().send(url, compose(TOLD))
    [mail] = mails.mails
    assert mail["subject"] == "bay-3: over-temperature trip"
    assert mail["to"] == "duty@rescue.example"
    body = mail.get_body()
    assert body is not None
    text = body.get_content()
    for part in ("heatsink 76.0 °C", "MR-25 no. 014", "2025-11-25"):
        assert part in text


def test_a_mail_that_is_refused_is_told(mail_server: tuple[Mails, str]) -> None:
    """The server's no is an error, never a silent success."""
    mails, url = mail_server
    mails.answer = "554 Transaction failed"
    with pytest.raises(SendFailed):
        Courier().send(url, compose(TOLD))
    assert mails.mails == []


def test_many_mails_follow_one_another_without_a_rest(mail_server: tuple[Mails, str]) -> None:
    """apprise rests between two mails of one object (5.5 s measured); here each has its own."""
    mails, url = mail_server
    courier = Courier()
    began_s = time.monotonic()
    for _ in range(4):
        courier.send(url, compose(TOLD))
    assert len(mails.mails) == 4
    assert time.monotonic() - began_s < 3 * 5.5


def test_no_is_told_with_the_status_and_without_the_url(hooks: Callable[[], Hook]) -> None:
    """A web server's 503."""
    hook = hooks()
    hook.mode = "refuse"
    with pytest.raises(SendFailed, match="503") as caught:
        Courier().send(hook.url, Message("t", "b"))
    assert "t0ken" not in caught.value.why


def test_nobody_there_is_told(hooks: Callable[[], Hook]) -> None:
    """The cause in the system's words alone, and nothing of the URL, not even its host."""
    hook = hooks()
    hook.stop()
    with pytest.raises(SendFailed, match="refused") as caught:
        Courier().send(hook.url.replace("/hook", "/hook?+X-Key=headersecret&rto=1&q=/hook"), Message("t", "b"))
    assert caught.value.why == "connection refused"


@pytest.mark.parametrize("url", ["nonsense://hush-hush", "slack://short", "json://"])
def test_a_url_that_apprise_does_not_know_is_told_by_its_scheme_alone(url: str) -> None:
    """A misspelt target is found by its test message."""
    with pytest.raises(SendFailed, match=rf"none that apprise understands: look at what {kind_of(url)}:// needs") as e:
        Courier().send(url, Message("t", "b"))
    assert "hush-hush" not in e.value.why


def test_a_server_that_never_answers_is_given_up_in_time() -> None:
    """Also one that drips a byte now and then, which no read time-out ends."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        ended = threading.Event()

        def drip() -> None:
            talk, _ = listener.accept()
            with talk:
                talk.sendall(b"HTTP/1.1 200 OK\r\nX-Slow: ")
                while not ended.wait(0.1):
                    try:
                        talk.sendall(b"x")
                    except OSError:
                        return

        thread = threading.Thread(target=drip)
        thread.start()
        began_s = time.monotonic()
        with pytest.raises(SendFailed):
            Courier(limit_s=1.0).send(f"json://127.0.0.1:{listener.getsockname()[1]}/", Message("t", "b"))
        assert time.monotonic() - began_s < 1.0 + START_S
        ended.set()
        thread.join(5)


def test_closing_ends_what_is_being_sent(hooks: Callable[[], Hook], until: Callable[..., None]) -> None:
    """A daemon that stops does not wait for a server that hangs."""
    hook = hooks()
    hook.mode = "hang"
    courier = Courier()
    failed: list[str] = []

    def send() -> None:
        try:
            courier.send(f"{hook.url}?rto=60", Message("t", "b"))
        except SendFailed as err:
            failed.append(err.why)

    thread = threading.Thread(target=send)
    thread.start()
    until(lambda: hook.asked, "the server was asked")
    courier.close()
    thread.join(5)
    assert len(failed) == 1
    with pytest.raises(SendFailed, match="stopping"):
        courier.send(hook.url, Message("t", "b"))


SECRET = st.text("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-_.", min_size=6, max_size=24)


@given(user=SECRET, password=SECRET, host=SECRET, path=SECRET, header=SECRET)
def test_nothing_of_a_url_is_left_in_an_error(user: str, password: str, host: str, path: str, header: str) -> None:
    """Whatever the library says again: whole, in part, joined to other words, with its quoting undone."""
    url = f"https://{user}:{password}@{host}/{path}%2B/x?+X-Key={header}"
    said = hush(f"no: {url} bot{password} /{path}+/x {{'X-Key': '{header}'}} ({user})", url)
    assert not [part for part in (user, password, host, path, header) if part in said.replace("X-Key", "")]


def test_a_message_of_the_daemon_s_own_trouble_names_the_whole_rack_and_leads_to_the_list() -> None:
    """It has no bay to lead to."""
    message = compose(
        msgspec.structs.replace(TOLD, bay="", rule="not-kept", priority="warning"), "http://bench.example"
    )
    assert message.title == "whole rack: not-kept warning"
    assert "http://bench.example/alerts" in message.body.splitlines()
