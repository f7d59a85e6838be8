"""Nothing of a URL may be read out of an error: in many of apprise's schemes even the host is a token."""

import re
from urllib.parse import unquote

#: a piece at least this long is taken out wherever it stands, a shorter one only as a word of its own
_TELLING = 6


def kind_of(url: str) -> str:
    """What kind of target a URL names, which is all of it that may be shown."""
    return url.split("://", maxsplit=1)[0].lower()


def hush(text: str, url: str) -> str:
    """``text`` without any piece of ``url`` but its scheme, in whichever way they are quoted."""
    rest = url.split("://", maxsplit=1)[-1]
    whole = {rest, unquote(rest)}
    found = {piece for form in whole for piece in re.split(r"[/:?&=@#+,;\s]+", form) if piece}
    # the parts in which a library may say them again: with the path's slashes, with the user's colon
    found |= {piece for form in whole for piece in re.split(r"[?@\s]+", form) if piece}
    for piece in sorted(found | {unquote(piece) for piece in found}, key=len, reverse=True):
        edge = "" if len(piece) >= _TELLING else r"(?![A-Za-z0-9])"
        before = "" if len(piece) >= _TELLING else r"(?<![A-Za-z0-9])"
        text = re.sub(before + re.escape(piece) + edge, "…", text)
    return text


#: how the system names why a connection was not to be had, in the midst of what libraries say around it
_CAUSE = re.compile(r"\[Errno -?\d+\] ([A-Z][A-Za-z ,]+)")


def plain(text: str) -> str:
    """The system's own word where an error has it ("connection refused"), else the text as it is."""
    causes = _CAUSE.findall(text)
    return causes[-1].strip().lower() if causes else text
