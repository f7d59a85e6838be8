"""The digests of the certificates on paper that were made here, a line each, so that a PDF can be known again.

A page (.html) has its facts and its digest in it; a PDF has neither, so what was given out is remembered instead. In a
file of its own, since certificates are made while the daemon, which alone writes the catalog, may not run.
"""

import os
from pathlib import Path

import msgspec

from daemon.errors import StoreUnfit

NAME = "certificates.jsonl"


class Made(msgspec.Struct, frozen=True):
    """One PDF; ``sealed`` is the SHA-256 of the readings that is printed on it, None where there was none yet."""

    sha256: str
    job: int
    made_ns: int
    verdict: str
    sealed: str | None


def keep(folder: Path, made: Made) -> None:
    """Remember one, on the disk; raises StoreUnfit."""
    path = folder / NAME
    try:
        # one write of a line that is appended: two who make certificates at once don't mix theirs
        handle = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
        try:
            os.write(handle, msgspec.json.encode(made) + b"\n")
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError as err:
        why = f"a PDF is known again by its digest, which can't be kept there: {err.strerror}; an .html needs none"
        raise StoreUnfit(path, why) from err


def find(folder: Path, sha256: str) -> Made | None:
    """The one with this digest; raises StoreUnfit."""
    path, wanted = folder / NAME, sha256.encode()
    try:
        if not path.exists():
            return None
        with path.open("rb") as lines:
            for line in lines:
                if wanted in line:
                    return msgspec.json.decode(line, type=Made)
    except (OSError, msgspec.MsgspecError) as err:
        raise StoreUnfit(path, str(err)) from err
    return None
