"""What can go wrong in the daemon, as one tree with the facts as attributes.

DaemonError
├── BadFile          a rack.toml, plan or limits file: which field, and what would be right
├── StoreError       what is kept, or is to be kept
│   ├── StoreBusy    another process writes into this folder
│   ├── StoreUnfit   a file of the store that can't be opened or read, and why
│   └── StoreBehind  not all is on disk, how much waits, and why
├── ExportFailed     a file that could not be written, and why
├── SealError        a file that is said to be a sealed job
│   ├── SealBroken   it is not what was sealed
│   └── SealUnknown  nothing can be said of it, and why
├── CertificateFailed  a certificate that could not be made, and why
├── CertificateBroken  a certificate that is not what was made, or not what is kept
├── SendFailed       a message that did not go out, and why
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


#: so many are named where one is missed, the last of them rather than the first: what is new is what is meant
FEW = 12


class NoSuch(Refused):
    """A bay or a job that does not exist."""

    def __init__(self, what: str, name: object, known: list[str]) -> None:
        self.what, self.name, self.known = what, name, known
        few = known if len(known) <= FEW else [*known[:2], "…", *known[2 - FEW :]]
        super().__init__(f"there is no {what} {name!r}; known: {', '.join(few) or 'none'}")


class StoreError(DaemonError):
    """What the store raises."""


class StoreBusy(StoreError):
    """Another process writes into ``folder``."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        super().__init__(f"{folder}: another keysoak keeps its readings here; stop it, or name another folder")


class StoreUnfit(StoreError):
    """A file of the store can't be opened or read."""

    def __init__(self, path: Path, why: str) -> None:
        self.path, self.why = path, why
        super().__init__(f"{path}: {why}")


class StoreBehind(StoreError):
    """``waiting`` items are not on disk; ``why`` is what keeps them."""

    def __init__(self, waiting: int, why: str) -> None:
        self.waiting, self.why = waiting, why
        super().__init__(f"{waiting} readings are not yet on disk: {why or 'the disk is slow'}")


class ExportFailed(DaemonError):
    """A file could not be written; nothing is left at ``path``."""

    def __init__(self, path: Path, why: str) -> None:
        self.path, self.why = path, why
        super().__init__(f"{path}: can't be written: {why}")


class SealError(DaemonError):
    """A file that is said to be a sealed job, at ``path``."""

    path: Path


class SealBroken(SealError):
    """The file is not what was sealed of ``job``: its SHA-256 is ``found``, the catalog has ``sealed``."""

    def __init__(self, path: Path, job: int, sealed: str, found: str) -> None:
        self.path, self.job, self.sealed, self.found = path, job, sealed, found
        super().__init__(
            f"{path}: is NOT what was sealed of job {job}: something in it was changed.\n"
            f"SHA-256 of the file: {found}\nSHA-256 when sealed: {sealed}"
        )


class SealUnknown(SealError):
    """Whether the file is what was sealed can't be said."""

    def __init__(self, path: Path, why: str) -> None:
        self.path, self.why = path, why
        super().__init__(f"{path}: {why}")


class CertificateFailed(DaemonError):
    """The certificate of ``job`` could not be set."""

    def __init__(self, job: int, why: str) -> None:
        self.job, self.why = job, why
        super().__init__(f"the certificate of job {job} can't be made: {why}")


class CertificateBroken(DaemonError):
    """The certificate at ``path`` does not agree with itself or with what is kept; ``wrong`` says in what."""

    def __init__(self, path: Path, wrong: list[str]) -> None:
        self.path, self.wrong = path, wrong
        super().__init__("\n".join(f"{path}: {one}" for one in wrong))


class SendFailed(DaemonError):
    """A message did not go out, or it is not known that it did; ``why`` has nothing of the URL in it."""

    def __init__(self, why: str) -> None:
        self.why = why
        super().__init__(why)
