"""What can go wrong in the daemon, as one tree with the facts as attributes.

DaemonError
├── BadFile          a rack.toml, plan or limits file: which field, and what would be right
└── Refused          an order that can't be carried out now, and why
    └── NoSuch       a bay or a job that does not exist, and which do
"""

from dataclasses import dataclass
from pathlib import Path


class DaemonError(Exception):
    """The root of what this room raises."""


@dataclass(frozen=True)
class Problem:
    """One field that is wrong; ``field`` is written as in the file (``bay[2].link``)."""

    field: str
    what: str

    def __str__(self) -> str:
        return f"{self.field}: {self.what}" if self.field else self.what


class BadFile(DaemonError):
    """A file that a person wrote can't be used; every problem found is told, not the first alone."""

    def __init__(self, source: Path | str, problems: list[Problem]) -> None:
        self.source = str(source)
        self.problems = problems
        super().__init__("\n".join(f"{self.source}: {problem}" for problem in problems))


class Refused(DaemonError):
    """An order that can't be carried out now."""

    def __init__(self, why: str) -> None:
        self.why = why
        super().__init__(why)


class NoSuch(Refused):
    """A bay or a job that does not exist."""

    def __init__(self, what: str, name: object, known: list[str]) -> None:
        self.what, self.name, self.known = what, name, known
        super().__init__(f"there is no {what} {name!r}; known: {', '.join(known) or 'none'}")
