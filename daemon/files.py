"""Reading the TOML files that a person writes, with errors that name the field and what would be right."""

import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from daemon.errors import BadFile, Problem

M = TypeVar("M", bound=BaseModel)

#: no plan or rack file that a person writes comes near this; a wrong file named by mistake may.
LARGEST_BYTES = 1 << 20


def read_text(path: Path) -> str:
    """The text of a file that a person wrote; BadFile when it can't be read or can't be one."""
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise BadFile(path, [Problem("", f"larger than {LARGEST_BYTES} bytes: is it the right file?")])
        return path.read_text(encoding="utf-8")
    except OSError as err:
        raise BadFile(path, [Problem("", f"can't be read: {err.strerror}")]) from err
    except UnicodeDecodeError as err:
        raise BadFile(path, [Problem("", f"is not UTF-8 text (byte {err.start})")]) from err


def parse(text: str, model: type[M], source: Path | str) -> M:
    """A model from TOML text; BadFile names every field that is wrong."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise BadFile(source, [Problem("", f"is not TOML: {err}")]) from err
    return check(data, model, source)


def check(data: dict[str, Any], model: type[M], source: Path | str) -> M:
    """A model from what a TOML file held; BadFile names every field that is wrong."""
    try:
        return model.model_validate(data)
    except ValidationError as err:
        raise BadFile(source, problems_of(err, data)) from err


def problems_of(err: ValidationError, data: Any) -> list[Problem]:
    """Every field of ``data`` that is wrong, named as a person wrote it."""
    return [Problem(_field(e["loc"], data), _what(dict(e))) for e in err.errors(include_url=False)]


def _field(loc: Sequence[int | str], data: Any) -> str:
    out = ""
    for i, part in enumerate(loc):
        if isinstance(part, int):
            out += f"[{part + 1}]"
            data = data[part] if isinstance(data, list) and part < len(data) else None
            continue
        if isinstance(data, dict) and part not in data and i + 1 < len(loc):
            continue  # pydantic's tag of a chosen kind (link[1].serial.port): no such table is in the file
        out += f".{part}" if out else part
        data = data.get(part) if isinstance(data, dict) else None
    return out


def _what(error: dict[str, Any]) -> str:
    kind, given = error["type"], error.get("input")
    if kind == "missing":
        return "is missing"
    if kind == "extra_forbidden":
        return "is not a field that is known here: look for a misspelling"
    message = str(error["msg"]).removeprefix("Value error, ").removeprefix("Input ")
    if isinstance(given, str | int | float | bool):
        return f"{message} (given: {given!r})"
    return message
