"""The plans: which there are, and one of them as a drawn band beside its text. Filled by assets/plan-page.js."""

from collections.abc import Sequence

from dash import html
from dash.development.base_component import Component

from daemon.api.models import PlanFile
from dashboard.pages import missing
from dashboard.pages.attributes import aria, data
from dashboard.words import duration


def page(plans: Sequence[PlanFile], file: str = "") -> Component:
    """The page of the plan called ``file``; of the first when none is named."""
    chosen = next((plan for plan in plans if plan.file == file or not file), None)
    if chosen is None:
        return missing.page("There is no such plan", f"No plan is called “{file}”. All plans are at /plans.")
    return html.Main(
        [
            html.H1("Plans"),
            html.Nav([_link(plan, chosen) for plan in plans], className="plan-shelf", **aria(label="All plans")),
            html.Div(
                id="plan-editor",
                className="plan-editor",
                **data(file=chosen.file, text=chosen.text, own="yes" if chosen.own else "no"),
            ),
        ],
        className="page wide",
    )


def _link(plan: PlanFile, chosen: PlanFile) -> Component:
    whose = "saved here" if plan.own else "supplied"
    return html.A(
        [html.B(plan.name), html.Small(f"{duration(plan.plan.total_s)}, {whose}")],
        href=f"/plans/{plan.file}",
        **(aria(current="page") if plan is chosen else {}),
    )
