"""The daemon's log: one line an event, for a person on standard error, for later in the data folder.

The lines are written by a thread of their own: a full disk or a reader that has stopped reading standard error must
not hold up the safety loop, which logs what its rules say.
"""

import logging
import queue
import sys
from logging.handlers import QueueHandler, QueueListener, RotatingFileHandler
from pathlib import Path

import structlog

LARGEST_BYTES = 5_000_000
KEPT_FILES = 4


def set_up(folder: Path | None = None) -> QueueListener:
    """Send the log to standard error, and to ``keysoak.log`` in ``folder`` when there is one; stop() ends it."""
    handlers: list[logging.Handler] = [logging.StreamHandler(sys.stderr)]
    if folder is not None:
        folder.mkdir(parents=True, exist_ok=True)
        handlers.append(RotatingFileHandler(folder / "keysoak.log", maxBytes=LARGEST_BYTES, backupCount=KEPT_FILES))
    lines: queue.SimpleQueue[logging.LogRecord] = queue.SimpleQueue()
    listener = QueueListener(lines, *handlers)
    logging.basicConfig(level=logging.INFO, handlers=[QueueHandler(lines)], format="%(message)s", force=True)
    structlog.configure(
        processors=[
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.add_log_level,
            structlog.processors.KeyValueRenderer(key_order=["timestamp", "level", "event"]),
        ],
        logger_factory=structlog.stdlib.LoggerFactory(),
        cache_logger_on_first_use=True,
    )
    # a line that a full disk takes no more is on standard error all the same, and needs no trace beside it there
    logging.raiseExceptions = False
    listener.start()
    return listener
