"""A sheet as it is typed: half-filled, with fields that can't be what they are, and still judged by the rest."""

import copy
from collections.abc import Callable
from typing import Any

from pydantic import ValidationError

from daemon.api.booking_models import Booking, FieldProblem, Sheet, SheetJudged
from daemon.booking.checks import judge
from daemon.files import problems_of

_MISSING = "missing"


def judge_typed(data: dict[str, Any], fill: Callable[[Sheet], Sheet] = lambda sheet: sheet) -> SheetJudged:
    """What there is to say of a booking as far as it has been typed; raises nothing for whatever is in it.

    ``fill`` adds what is known from elsewhere, as the device data of a type of the library.
    """
    try:
        return judge(fill(Booking.model_validate(data)))
    except ValidationError as err:
        found = err
    missing = [str(e["loc"][0]) for e in found.errors() if e["type"] == _MISSING and len(e["loc"]) == 1]
    problems = [p for p in problems_of(found, data) if p.field not in missing]
    rest = copy.deepcopy({name: data[name] for name in Sheet.model_fields if name in data})
    judged = judge(fill(_what_is_right(rest)))
    judged.problems = [FieldProblem(field=p.field, what=p.what) for p in problems]
    judged.missing = missing
    return judged


def _what_is_right(rest: dict[str, Any]) -> Sheet:
    try:
        return Sheet.model_validate(rest)
    except ValidationError as err:
        wrong = [each["loc"] for each in err.errors()]
    for loc in wrong:
        _clear(rest, loc)
    return Sheet.model_validate(rest)


def _clear(rest: dict[str, Any], loc: tuple[int | str, ...]) -> None:
    # a device that is wrong stays as an empty one, so that the others keep their numbers
    at: Any = rest
    for part in loc[:-1]:
        at = at[part]
    if isinstance(at, list):
        at[int(loc[-1])] = {}
    else:
        del at[loc[-1]]
