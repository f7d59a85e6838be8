"""The workshop's mark: a small SVG, PNG or JPEG file."""

from base64 import b64encode
from pathlib import Path
from typing import NamedTuple

from daemon.errors import BadFile, Problem

#: a mark is as large as a thumb on paper; it goes into every page that is made
LARGEST_BYTES = 1 << 19
_KINDS = {".svg": "svg", ".png": "png", ".jpg": "jpeg", ".jpeg": "jpeg"}
_TYPES = {"svg": "image/svg+xml", "png": "image/png", "jpeg": "image/jpeg"}
_BEGINS = {"png": b"\x89PNG\r\n\x1a\n", "jpeg": b"\xff\xd8\xff"}


class Mark(NamedTuple):
    """What is in the file, and of which kind it is."""

    data: bytes
    kind: str

    @property
    def url(self) -> str:
        """The mark itself as an address; a browser shows it as an image, in which nothing runs or is fetched."""
        return f"data:{_TYPES[self.kind]};base64,{b64encode(self.data).decode()}"


def read_mark(path: Path) -> Mark:
    """The mark in a file; raises BadFile."""
    kind = _KINDS.get(path.suffix.lower())
    if kind is None:
        raise BadFile(path, [Problem("", "a mark is an .svg, .png or .jpg file")])
    try:
        data = path.read_bytes()
    except OSError as err:
        raise BadFile(path, [Problem("", f"can't be read: {err.strerror}")]) from err
    if len(data) > LARGEST_BYTES:
        raise BadFile(path, [Problem("", f"larger than {LARGEST_BYTES} bytes: a mark is small")])
    fits = b"<svg" in data if kind == "svg" else data.startswith(_BEGINS[kind])
    if not fits:
        raise BadFile(path, [Problem("", f"is not what its name says: no {kind} image is in it")])
    return Mark(data, kind)
