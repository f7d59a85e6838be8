"""The part of the control API that is about plans to begin from."""

from functools import cache
from pathlib import Path

from fastapi import FastAPI

from daemon.api.models import PlanFile
from daemon.files import read_text
from daemon.plan import Plan

FOLDER = Path(__file__).parent.parent / "plans"


@cache
def plans_to_begin_from() -> list[PlanFile]:
    """The plans that come with the program, the shortest first; raises BadFile."""
    texts = [(path, read_text(path)) for path in sorted(FOLDER.glob("*.toml"))]
    views = [(text, Plan.from_toml(text, path).view()) for path, text in texts]
    files = [PlanFile(name=view.name, text=text, plan=view) for text, view in views]
    return sorted(files, key=lambda file: file.plan.total_s)


def add_plans(app: FastAPI) -> None:
    """Add this route to the app."""

    @app.get("/v1/plans")
    def plans() -> list[PlanFile]:
        return plans_to_begin_from()
