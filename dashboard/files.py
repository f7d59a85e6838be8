"""Scripts, styles and marks of a page, from memory: ours, and those of installed packages.

A page asks for a few dozen files, and a browser for six at a time: what each of them costs this process adds up.
"""

import gzip
import hashlib
import mimetypes
import re
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import NamedTuple

from starlette.datastructures import Headers
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

FOLDER = Path(__file__).parent / "assets"
#: one file instead of nine; later ones build on earlier ones
STYLES = ("tokens", "page", "rack", "charts", "ledger", "plans", "alerts", "sheets", "workshop")
ALL_STYLES = "all.css"
CHARTS = "plotly-basic.min.js"
_FACTORY = b" : this, () => {\n"
_IMPORTS = re.compile(r'^(?:import|export) .*?"\./([\w-]+\.js)";$', re.MULTILINE)
_ROOT = re.compile(r"/assets(/[0-9a-f]{16})?")
_FOR_GOOD = "public, max-age=31536000, immutable"
#: smaller ones travel in one packet anyway
LEAST_PACKED = 1000


class File(NamedTuple):
    """One file as it is sent."""

    kind: str
    plain: bytes
    packed: bytes | None  # where a browser takes gzip


class Assets:
    """The page's own files. ``root`` is a path that changes with any of them: a browser may keep them for good."""

    def __init__(self, folder: Path = FOLDER) -> None:
        texts = {path.name: path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file()}
        if CHARTS in texts:
            texts[CHARTS] = compiled_early(texts[CHARTS])
        texts[ALL_STYLES] = b"\n".join(texts[f"{name}.css"] for name in STYLES)
        whole = hashlib.sha256()
        for name, text in texts.items():
            whole.update(name.encode() + b"\0" + text)
        self.root = f"/assets/{whole.hexdigest()[:16]}"
        self.files = {name: _file(name, text) for name, text in texts.items()}

    def path(self, name: str) -> str:
        """Where a file is served, as a browser may keep it."""
        return f"{self.root}/{name}"

    def modules(self, first: Sequence[str]) -> list[str]:
        """The modules, by name, that these need to run, besides themselves."""
        found, left = set(first), list(first)
        while left:
            for name in _IMPORTS.findall(self.files[left.pop()].plain.decode()):
                if name not in found:
                    found.add(name)
                    left.append(name)
        return sorted(found - set(first))


def compiled_early(text: bytes) -> bytes:
    """The charts' library, its one large function in parentheses: V8 compiles such a function while it still comes,
    beside all else, and any other only when it is called, which the page stands still for."""
    head, begun, rest = text.partition(_FACTORY)
    body, ended, foot = rest.rpartition(b"\n}));")
    return b"".join((head, _FACTORY.replace(b"()", b"(()"), body, b"\n})));", foot)) if begun and ended else text


def _file(name: str, text: bytes) -> File:
    kind = mimetypes.guess_type(name)[0] or "application/octet-stream"
    packed = gzip.compress(text, 6, mtime=0) if len(text) >= LEAST_PACKED else None
    return File(f"{kind}; charset=utf-8" if kind.startswith("text/") else kind, text, packed)


@cache
def assets() -> Assets:
    """The page's own files, read once: a process that serves newer ones is a newer process."""
    return Assets()


class OwnFiles:
    """Answers for ``/assets``: below the root that is theirs now for good, else to be asked for anew each time."""

    def __init__(self, app: ASGIApp, own: Assets) -> None:
        self.app, self._own = app, own

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve one, or pass the request on."""
        if scope["type"] != "http" or not scope["path"].startswith("/assets/"):
            await self.app(scope, receive, send)
            return
        root, _, name = scope["path"].rpartition("/")
        # a page that has stood open since before an update asks below another root: it is given today's
        file = self._own.files.get(name) if _ROOT.fullmatch(root) else None
        if file is None:
            await PlainTextResponse("There is no such file.\n", 404)(scope, receive, send)
            return
        headers = {"cache-control": _FOR_GOOD if root == self._own.root else "no-cache", "vary": "accept-encoding"}
        if file.packed is None or "gzip" not in Headers(scope=scope).get("accept-encoding", ""):
            answer = Response(file.plain, 200, headers, file.kind)
        else:
            answer = Response(file.packed, 200, headers | {"content-encoding": "gzip"}, file.kind)
        await answer(scope, receive, send)


#: Dash and its components have a few dozen; an address is anybody's to make up
MOST_PACKED = 100


class PackedFiles:
    """Compresses the scripts (2.6 MB instead of 9.3 MB), each once, and nothing that is made anew for every request.

    They are files of installed packages: as long as this process lives they don't change.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app
        self._packed = GZipMiddleware(app, minimum_size=1000)
        self._kept: dict[str, list[Message]] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Serve a request, compressed where that pays."""
        if scope["type"] != "http" or not scope["path"].startswith("/_dash-component-suites/"):
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        plain = scope["method"] == "GET" and "if-none-match" not in headers
        if not plain or "gzip" not in headers.get("accept-encoding", ""):
            await self._packed(scope, receive, send)
            return
        if kept := self._kept.get(scope["path"]):
            for message in kept:
                await send({**message, "headers": list(message["headers"])} if "headers" in message else message)
            return
        sent: list[Message] = []

        async def keep(message: Message) -> None:
            # what stands further out adds headers of its own to the list that it is given
            sent.append({**message, "headers": list(message["headers"])} if "headers" in message else message)
            await send(message)

        await self._packed(scope, receive, keep)
        if sent and sent[0].get("status") == 200 and len(self._kept) < MOST_PACKED:
            self._kept[scope["path"]] = sent
