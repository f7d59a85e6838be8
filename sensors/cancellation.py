"""A cancellation that was asked for and lost on the way is remembered here, so that a link's loop always ends."""

import asyncio


def stay_cancelled() -> None:
    """Raise CancelledError where this task has been cancelled already, and ``wait_for`` has lost that.

    ``asyncio.wait_for`` of Python 3.11, which aiomqtt uses, loses a cancellation that comes in the same instant as what
    it waits for (python/cpython issue 86296). Not for a task in which a ``TaskGroup``'s task may fail: such a group
    leaves the mark of a cancellation that nobody asked for (3.11).
    """
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError
