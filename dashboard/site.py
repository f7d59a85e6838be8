"""Where each page is: its path, its title, and what makes it. A new page is one line here."""

import re
from collections.abc import Callable
from contextlib import suppress
from typing import NamedTuple
from urllib.parse import unquote

from dash.development.base_component import Component

from daemon.api.client import Client
from daemon.api.errors import ApiError, DaemonSilent
from dashboard.ahead import POINTS
from dashboard.pages import (
    about,
    alerts,
    bay,
    book,
    calibrations,
    compare,
    job,
    jobs,
    limits,
    links,
    lots,
    missing,
    plans,
    rack,
)
from dashboard.versions import versions_of


class Place(NamedTuple):
    """A page. ``path`` is a pattern whose one group, where it has one, is handed to ``make`` and to ``title``;
    ``parts`` are the modules in assets/ that draw what moves on it."""

    path: str
    title: str
    make: Callable[[Client, str], Component]
    parts: tuple[str, ...] = ()
    charted: bool = False


def _job(client: Client, number: int) -> Component:
    view = client.job(number)
    booking = None
    with suppress(ApiError):  # a sheet that can't be had now must not take the curves away
        booking = None if view.booking is None else client.booking(view.booking)
    try:
        return job.page(view, client.curves(number, None, None, POINTS), booking)
    except ApiError as err:
        return job.page(view, err, booking)


def _booking(client: Client, number: int) -> Component:
    return book.page(client.bookings(), client.devices(), client.booking(number))


_BAY = ("rack", "bay", "bay-start", "bay-booking", "release")
_JOB = ("rack", "pictures", "downloads")

PLACES = (
    Place("/", "Rack", lambda _, __: rack.page(), ("rack",)),
    Place("/jobs", "Jobs", lambda client, _: jobs.page(client.jobs()), ("find",)),
    Place("/job/([0-9]{1,12})", "Job {}", lambda client, number: _job(client, int(number)), _JOB, charted=True),
    Place("/compare", "Side by side", lambda _, __: compare.page(), ("pictures",), charted=True),
    Place("/plans", "Plans", lambda client, _: plans.page(client.plans()), ("plan-page",)),
    Place("/plans/([a-z0-9][a-z0-9-]{0,62})", "Plan {}", lambda c, file: plans.page(c.plans(), file), ("plan-page",)),
    Place("/book", "Book in", lambda client, _: book.page(client.bookings(), client.devices()), ("sheet-page",)),
    Place("/book/([0-9]{1,12})", "Booking {}", lambda client, number: _booking(client, int(number)), ("sheet-page",)),
    Place("/lots", "Lots", lambda client, _: lots.page(client.lots())),
    Place("/calibrations", "Calibrations", lambda _, __: calibrations.page(), ("calibrations",)),
    Place("/bay/([^/.][^/]{0,63})", "Bay {}", lambda _, name: bay.page(name), _BAY),
    Place("/alerts", "Alerts", lambda _, __: alerts.page(), ("alert-list",)),
    Place("/links", "Sensors and links", lambda _, __: links.page(), ("links",)),
    Place("/limits", "Limits", lambda client, _: limits.page(client.limits())),
    Place("/about", "Cautions and versions", lambda client, _: about.page(versions_of(client))),
)


def find(path: str) -> tuple[Place, str] | None:
    """The page at ``path`` and the part of the path that it is about."""
    for place in PLACES:
        if found := re.fullmatch(place.path, path):
            return place, unquote("".join(found.groups()))
    return None


def title_of(path: str) -> str:
    """The title of the page at ``path``, without anything that could be markup."""
    found = find(path)
    page = found[0].title.format(found[1]) if found else ""
    safe = "".join(c for c in page if c.isalnum() or c in " -_.")
    return f"{safe} · Keysoak" if safe else "Keysoak"


def make(path: str, client: Client) -> Component:
    """The page at ``path``, or one that says why there is none."""
    found = find(path)
    if found is None:
        return missing.page("There is no such page", f"{path} leads nowhere.")
    try:
        return found[0].make(client, found[1])
    except DaemonSilent as err:
        return missing.page("The daemon does not answer", f"{err.why} Reload this page when it does.")
    except ApiError as err:
        return missing.page("There is nothing to show", err.why)
