"""Whether a certificate says what was made, and what is kept."""

import re
from datetime import UTC, datetime
from pathlib import Path

from daemon.api.models import JobView
from daemon.certificate import ledger
from daemon.certificate.facts import PROGRAM, Facts
from daemon.certificate.page import LARGEST_BYTES, agrees, facts_of, intact
from daemon.errors import CertificateBroken, NoSuch, SealUnknown
from daemon.store import Reader
from daemon.store.seals import digest

CHANGED = "is NOT as it was made: something in it was changed"
_TITLE = re.compile(rb"Soak certificate, [^<]{0,400}job (\d{1,12})<")
_NAME = re.compile(rb"job-(\d{1,12})")
_BEGINS = b"<!doctype html"
_SAME = ("bay", "verdict", "reasons", "started_ns", "ended_ns", "limits")


def is_page(path: Path) -> bool:
    """Whether a file looks like a certificate's page; whatever can't be read does not."""
    try:
        with path.open("rb") as file:
            return file.read(len(_BEGINS)).lower() == _BEGINS or path.suffix.lower() in (".html", ".htm")
    except OSError:
        return False


def check(folder: Path, path: Path) -> Facts:
    """The facts of the certificate at ``path``, which agree with what is kept in ``folder``.

    Its own digest, the SHA-256 that it prints with the catalog's, the sealed file with that, and what it says of the
    soak with the catalog. Raises CertificateBroken with all that is wrong, SealUnknown where nothing can be said,
    StoreUnfit.
    """
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise SealUnknown(path, "is no certificate: it is too large for one")
        document = path.read_bytes()
    except OSError as err:
        raise SealUnknown(path, f"can't be read: {err.strerror}") from err
    changed = [] if intact(document) else [CHANGED]
    try:
        facts = facts_of(document)
    except ValueError as err:
        if b"Soak certificate" in document:
            raise CertificateBroken(path, [*changed, "its facts can't be read"]) from err
        raise SealUnknown(path, "is no certificate's page") from err
    reader = Reader(folder)
    try:
        view = reader.job(facts.job)
    except NoSuch as err:
        raise SealUnknown(path, f"is of job {facts.job}, which is not kept in {folder}") from err
    # of another version's page the words may differ; its digest and its facts are checked all the same
    if not changed and facts.program == PROGRAM and not agrees(document, facts):
        changed = [CHANGED]
    wrong = [*changed, *_other(facts, view), *_unsealed(facts, reader)]
    if wrong:
        raise CertificateBroken(path, wrong)
    if facts.sealed is None:
        raise _provisional(path, reader, facts.job, facts.verdict)
    return facts


def check_paper(folder: Path, path: Path) -> str:
    """What there is to say of a PDF that is, to the last bit, one that was made here of what is kept.

    Raises CertificateBroken with all that is wrong, SealUnknown where nothing can be said, StoreUnfit.
    """
    try:
        made = ledger.find(folder, digest(path)[0])
        job = None if made else _job_on(path)
    except OSError as err:
        raise SealUnknown(path, f"can't be read: {err.strerror}") from err
    if made is None and job is None:
        raise SealUnknown(path, f"is no certificate that was made from {folder}")
    if made is None:
        why = f"is NOT a certificate of job {job} as it was made from {folder}: it was changed, or was made elsewhere"
        raise CertificateBroken(path, [why])
    reader = Reader(folder)
    if made.sealed is None:
        raise _provisional(path, reader, made.job, made.verdict)
    if wrong := _seal_differs(made.job, made.sealed, reader):
        raise CertificateBroken(path, wrong)
    when = datetime.fromtimestamp(made.made_ns / 1e9, UTC)
    return (
        f"{path}: is as it was made of job {made.job} on {when:%Y-%m-%d at %H:%M:%S} UTC: {made.verdict}; its readings "
        f"are sealed and unchanged\nSHA-256 {made.sealed}"
    )


def is_paper(path: Path) -> bool:
    """Whether a file looks like a PDF; whatever can't be read does not."""
    try:
        with path.open("rb") as file:
            return file.read(5) == b"%PDF-" or path.suffix.lower() == ".pdf"
    except OSError:
        return False


def _job_on(path: Path) -> int | None:
    # in its title, or of one that is so badly changed that it has none, in its name
    found = _TITLE.search(path.read_bytes()) or _NAME.search(path.name.encode())
    return int(found[1]) if found else None


def _provisional(path: Path, reader: Reader, job: int, verdict: str) -> SealUnknown:
    by_now = "by now they are: " if job in reader.seals.of(job, job) else ""
    return SealUnknown(
        path,
        f"is as it was made, and says what is kept of job {job}: {verdict}. But it was made before the readings were "
        f"sealed, so that it can't be verified; {by_now}make it anew",
    )


def told(path: Path, facts: Facts) -> str:
    """What there is to say of a certificate that agrees."""
    assert facts.sealed is not None
    return (
        f"{path}: is as it was made, and says what is kept of job {facts.job}: {facts.verdict}, "
        f"{facts.sealed.readings} readings, sealed and unchanged\nSHA-256 {facts.sealed.sha256}"
    )


def _other(facts: Facts, view: JobView) -> list[str]:
    said = facts.model_dump()
    kept = view.model_dump()
    if (
        facts.verdict == "incomplete"
        and kept["verdict"] == "pass"
        and any(f.expanded is not None for f in facts.figures)
    ):
        # a pass that its calibrations did not bear out, when it was made
        kept |= {"verdict": facts.verdict, "reasons": facts.reasons}
    pairs = {name: (said[name], kept[name]) for name in _SAME}
    pairs["number"] = facts.unit.number, view.number
    pairs["unit"] = facts.unit.unit, view.unit
    pairs["figures"] = (
        {figure.name: figure.value for figure in facts.figures},
        {name: value for name, value in view.figures.items() if value is not None},
    )
    names = [name for name, (one, other) in pairs.items() if one != other]
    return [f"says other than the catalog of job {facts.job}: {', '.join(names)}"] if names else []


def _unsealed(facts: Facts, reader: Reader) -> list[str]:
    if facts.sealed is None:
        return []
    return _seal_differs(facts.job, facts.sealed.sha256, reader)


def _seal_differs(job: int, sha256: str, reader: Reader) -> list[str]:
    sealed = reader.seals.by_digest(sha256)
    if sealed is None or sealed.job != job:
        return [f"its SHA-256 {sha256} is of nothing that was sealed of job {job}"]
    if reader.seals.of(job, job)[job].sha256 != sha256:
        return [f"job {job} was sealed anew since it was made: make it anew"]
    if reader.seals.good(job) is None:
        return [f"the sealed file {reader.seals.path(job)} is missing, or was changed since it was sealed"]
    return []
