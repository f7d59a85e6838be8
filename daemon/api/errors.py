"""What a call of the control API can end in, seen from the caller.

ApiError             the daemon answered no, and why
└── DaemonSilent     the daemon did not answer at all
"""


class ApiError(Exception):
    """The daemon refused; ``status`` is the HTTP status, ``why`` a sentence for a person."""

    def __init__(self, why: str, status: int = 0) -> None:
        self.why, self.status = why, status
        super().__init__(why)


class DaemonSilent(ApiError):
    """Nobody answers at ``url``."""

    def __init__(self, url: str, cause: str) -> None:
        self.url = url
        super().__init__(f"the daemon does not answer at {url} ({cause}): is `keysoak serve` running?")
