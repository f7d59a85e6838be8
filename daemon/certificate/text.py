"""Plain text for the certificate: what stands on every one of them, and a person's text as one line."""

import re
import unicodedata

#: longer than any name, number or note should be; what is cut is cut visibly
LONGEST = 300
#: what names a thing, and where it stands in few millimetres
NAME, SHORT = 80, 40
LEGAL = (
    "Power above the limit that local rules set for a station or its class is not for the air. Who may transmit, "
    "with what power and with what equipment is for local rules and licensed practice to say; this certificate "
    "permits nothing, and is no type approval. A soak proves only what it measured: this unit, on a dummy load, on "
    "this bench, in these hours."
)
CAUTIONS = (
    "RF burns: keep hands off the output, the load and open covers while the unit is keyed. Hot metal: heatsinks and "
    "loads burn skin well below the limits above, and stay hot after unkeying. Supply: fuse it; a shorted device can "
    "start a fire. Key only into a load rated for the power. Local codes and licensed practice come first."
)
NOT_SEALED = "Provisional: readings not sealed yet"
NO_CALIBRATION = "No calibration on record: figures are as read."
READ_AS = (
    "Greatest and least figures are each the middle one of three readings in a row, so that one bad reading is none; "
    "the rules act on what lasts."
)


def plain(text: str, longest: int = LONGEST) -> str:
    """One line of a person's text: no control or direction characters, and not endless."""
    kept = "".join(" " if c in "\n\r\t" else c for c in text if c in "\n\r\t" or unicodedata.category(c)[0] != "C")
    kept = re.sub(r"\s+", " ", kept).strip()
    return kept if len(kept) <= longest else kept[: longest - 1] + "…"


def sentence(text: str) -> str:
    """A sentence of the program's or a person's, with a capital and a full stop."""
    text = plain(text)
    text = text[:1].upper() + text[1:]
    return text if text.endswith((".", "!", "?", "…")) else f"{text}."


def duration(seconds: float) -> str:
    """A length of time: 45 s, 9 min 30 s, 2 h 05 min."""
    whole = round(seconds)
    if whole < 60:
        return f"{seconds:.1f} s" if seconds != whole else f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min" + (f" {whole % 60:02d} s" if whole % 60 else "")
    return f"{whole // 3600} h" + (f" {whole % 3600 // 60:02d} min" if whole % 3600 // 60 else "")
