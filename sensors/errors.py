"""What can go wrong between a node and a Frame.

SensorsError
├── PackRefused      a pack breaks a rule of RFC 8428 or of the contract
├── LineRefused      a serial line has no CRC, or one that does not fit
├── RecordingBroken  a recording can't be read to its end
├── LinkFailed       a port or a broker can't be reached, or was lost
├── ConversionUnfit  a channel's configured conversion can't be built
└── CalibrationUnfit points that make no calibration line
"""

from pathlib import Path


class SensorsError(Exception):
    """The root of this folder's errors."""


class PackRefused(SensorsError):
    """A pack that breaks a rule; ``why`` says which, ``name`` the record's resolved name where there is one."""

    def __init__(self, why: str, name: str = "") -> None:
        super().__init__(f"{name}: {why}" if name else why)
        self.why = why
        self.name = name


class LineRefused(SensorsError):
    """A serial line that is not a pack with its CRC; ``given`` and ``computed`` are CRCs, None where there is none."""

    def __init__(self, why: str, given: int | None = None, computed: int | None = None) -> None:
        super().__init__(why)
        self.why = why
        self.given = given
        self.computed = computed


class RecordingBroken(SensorsError):
    """A recording that can't be read on from ``line`` (counted from 1); every whole pack before it was given out."""

    def __init__(self, path: Path | str, line: int, why: str) -> None:
        super().__init__(f"{path}, line {line}: {why}" if line else f"{path}: {why}")
        self.path = Path(path)
        self.line = line
        self.why = why


class LinkFailed(SensorsError):
    """A link that can't be made or was lost; ``where`` is the port, or the broker's host and port."""

    def __init__(self, where: str, why: str) -> None:
        super().__init__(f"{where}: {why}")
        self.where = where
        self.why = why


class ConversionUnfit(SensorsError):
    """A conversion whose parameters fit no physical sensor; ``field`` is the parameter, ``why`` what would be right."""

    def __init__(self, field: str, why: str) -> None:
        super().__init__(f"{field}: {why}")
        self.field = field
        self.why = why


class CalibrationUnfit(SensorsError):
    """Points from which no line can be fitted; ``why`` says what would be right."""

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why
