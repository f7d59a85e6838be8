"""What can go wrong in the twin.

TwinError
├── SpecRefused      a spec that can't be read, or that says what the twin can't do
└── CommandRefused   a command on standard input that the twin doesn't know or can't carry out
"""


class TwinError(Exception):
    """Any failure of the twin itself; a modelled fault of a radio is never an exception."""


class SpecRefused(TwinError):
    """A spec is not fit; ``path`` is its file, ``why`` names the field and what is wrong with it."""

    def __init__(self, path: str, why: str) -> None:
        super().__init__(f"{path}: {why}")
        self.path = path
        self.why = why


class CommandRefused(TwinError):
    """A command is not fit; ``why`` says what is wrong with it."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why
