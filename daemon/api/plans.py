"""The part of the control API that is about plans to begin from: those that come along, and those saved here."""

import os
import re
import tempfile
from functools import cache
from pathlib import Path

from fastapi import Depends, FastAPI

from daemon.api.guard import own_page
from daemon.api.models import PlanFile, PlanJudged, PlanProblem, PlanText, Said
from daemon.errors import BadFile, Problem, Refused
from daemon.files import read_text
from daemon.plan import Plan

FOLDER = Path(__file__).parent.parent / "plans"
#: what a saved plan may be called: its file's name is made of it
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,62}", re.ASCII)
MOST_SAVED = 1000


@cache
def plans_to_begin_from() -> list[PlanFile]:
    """The plans that come with the program, the shortest first; raises BadFile."""
    files = [_file(path, own=False) for path in sorted(FOLDER.glob("*.toml"))]
    return sorted(files, key=lambda file: file.plan.total_s)


def saved_plans(folder: Path) -> list[PlanFile]:
    """The plans that were saved in ``folder``, by name; one that a person broke by hand is left out."""
    found = []
    for path in sorted(folder.glob("*.toml")):
        try:
            found.append(_file(path, own=True))
        except BadFile:
            continue
    return found


def save_plan(folder: Path, text: str, replace: bool) -> str:
    """Save a plan; the name of its file. Raises BadFile when it is none, Refused when the name is taken."""
    plan = Plan.from_toml(text)
    if not _NAME.fullmatch(plan.name):
        what = "must be letters, digits, spaces, hyphens and underscores, 63 at most, a letter or digit first"
        raise BadFile("plan", [Problem("name", f"{what} (given: {plan.name!r})")])
    file = file_name(plan.name)
    if any(known.file == file for known in plans_to_begin_from()):
        raise Refused(f"{plan.name!r} comes with the program and stays as it is: give yours another name")
    path = folder / f"{file}.toml"
    if path.exists() and not replace:
        raise Refused(f"a plan {plan.name!r} is saved already: give yours another name, or replace that one")
    folder.mkdir(parents=True, exist_ok=True)
    if len(list(folder.glob("*.toml"))) >= MOST_SAVED and not path.exists():
        raise Refused(f"{MOST_SAVED} plans are saved already: delete some in {folder}")
    _write(path, text)
    return file


def file_name(name: str) -> str:
    """What a plan is called in an address and on the disk."""
    return re.sub(r"[ _]+", "-", name.strip().lower())


def _write(path: Path, text: str) -> None:
    # whole or not at all, also when the power goes
    handle, part = tempfile.mkstemp(dir=path.parent, suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except OSError as err:
        Path(part).unlink(missing_ok=True)
        raise Refused(f"the plan can't be saved: {err.strerror}") from err


def _file(path: Path, *, own: bool) -> PlanFile:
    text = read_text(path)
    view = Plan.from_toml(text, path).view()
    return PlanFile(name=view.name, text=text, plan=view, file=path.stem, own=own)


def judge_plan(text: str) -> PlanJudged:
    """What a plan's text says, or every field that is wrong in it."""
    try:
        plan = Plan.from_toml(text)
    except BadFile as err:
        return PlanJudged(plan=None, problems=[PlanProblem(field=p.field, what=p.what) for p in err.problems])
    return PlanJudged(plan=plan.view(), key_down_s=plan.key_down_s)


def add_plans(app: FastAPI, folder: Path) -> None:
    """Add these routes to the app; ``folder`` is where plans are saved."""

    @app.get("/v1/plans")
    def plans() -> list[PlanFile]:
        return [*plans_to_begin_from(), *saved_plans(folder)]

    @app.post("/v1/plans/judge")
    def judge(plan: PlanText) -> PlanJudged:
        return judge_plan(plan.text)

    @app.post("/v1/plans", dependencies=[Depends(own_page)])
    def save(plan: PlanText) -> Said:
        return Said(done=save_plan(folder, plan.text, plan.replace))
