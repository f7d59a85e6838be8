"""One message to one target, in a process of its own: ``python -m daemon.delivery.sender``.

apprise has no way to end a send that hangs, it waits between the sends of one object (measured: 5.5 s for mail), and
it computes while it loads. In a process that is started for one message and can be killed, none of that reaches the
daemon's threads. The URL comes on standard input, as everybody on the machine can read a command line.
"""

import logging
import os
import signal
import sys

import apprise
import msgspec

from daemon.delivery.hush import hush, plain
from daemon.delivery.message import Answer, Errand

#: how much longer than its caller waits it may live, should the caller be dead
SPARE_S = 5
#: apprise says the cause of a failed connection only in its debug log, under this head
_CAUSE = "Socket Exception: "


def send(errand: Errand) -> Answer:
    """Send it; the answer says why not, with nothing of the URL in it."""
    # what it says goes into the answer; it would be printed to standard error beside
    log = logging.getLogger("apprise")
    log.addHandler(logging.NullHandler())
    log.propagate = False
    log.setLevel(logging.DEBUG)
    # nothing of it may stay on this machine
    told = apprise.Apprise(asset=apprise.AppriseAsset(storage_mode="memory", app_id="Keysoak"))
    if not told.add(errand.url):
        return Answer(f"the URL is none that apprise understands: look at what {_docs(errand.url)} needs")
    message = errand.message
    result = told.notify(
        title=message.title,
        body=message.body,
        notify_type=apprise.NotifyType(message.kind),
        body_format=apprise.NotifyFormat.TEXT,
        timeout=errand.limit_s,
        log_level=logging.DEBUG,
    )
    if result:
        return Answer()
    said = [(entry.level, entry.message) for entry in result.logs()]
    told_why = [m.removeprefix(_CAUSE) for level, m in said if level not in {"DEBUG", "INFO"} or m.startswith(_CAUSE)]
    return Answer(plain(hush(" ".join(dict.fromkeys(told_why)) or "apprise does not say why", errand.url)))


def _docs(url: str) -> str:
    return f"{url.split('://', maxsplit=1)[0]}://"


def main() -> None:
    """Read one errand, send it, say one answer."""
    errand = msgspec.json.decode(sys.stdin.buffer.read(), type=Errand)
    # ends this process also when nobody is there to kill it
    signal.alarm(int(errand.limit_s) + SPARE_S)
    sys.stdout.buffer.write(msgspec.json.encode(send(errand)))
    sys.stdout.flush()
    os._exit(0)  # a send that apprise gave up goes on in a thread of it, which an ordinary end would wait for


if __name__ == "__main__":
    main()
