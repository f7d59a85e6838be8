"""Whether a certificate's page says what was made, and what is kept."""

from pathlib import Path

from daemon.api.models import JobView
from daemon.certificate.facts import PROGRAM, Facts
from daemon.certificate.page import LARGEST_BYTES, agrees, facts_of, intact
from daemon.errors import CertificateBroken, NoSuch, SealUnknown
from daemon.store import Reader

CHANGED = "is NOT as it was made: something in it was changed"
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
        now = (
            " by now they are: make it anew" if facts.job in reader.seals.of(facts.job, facts.job) else " make it anew"
        )
        raise SealUnknown(
            path,
            f"is as it was made, and says what is kept of job {facts.job}: {facts.verdict}. But it was made before the "
            f"readings were sealed, so that it can't be verified;{now}",
        )
    return facts


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
    sealed = reader.seals.by_digest(facts.sealed.sha256)
    if sealed is None or sealed.job != facts.job:
        return [f"its SHA-256 {facts.sealed.sha256} is of nothing that was sealed of job {facts.job}"]
    if reader.seals.of(facts.job, facts.job)[facts.job].sha256 != facts.sealed.sha256:
        return [f"job {facts.job} was sealed anew since it was made: make it anew"]
    if reader.seals.good(facts.job) is None:
        return [f"the sealed file {reader.seals.path(facts.job)} is missing, or was changed since it was sealed"]
    return []
