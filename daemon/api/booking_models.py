"""What the control API says and takes about booking in: units, their set-up sheets, the library of device types."""

from typing import Annotated

from pydantic import Field, StringConstraints

from daemon.api.models import Model

#: one line of text; a control character has no place on a sheet or a certificate
_LINE = r"^[^\x00-\x1f\x7f]*$"
Line = Annotated[str, StringConstraints(strip_whitespace=True, max_length=80, pattern=_LINE)]
Named = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80, pattern=_LINE)]
Words = Annotated[str, StringConstraints(strip_whitespace=True, max_length=300, pattern=_LINE)]

# beyond any bench of this kind: a slip of the keyboard, or another unit of measure
Watt = Annotated[float, Field(ge=0, le=10_000, allow_inf_nan=False)]
Volt = Annotated[float, Field(ge=-50, le=50, allow_inf_nan=False)]
Ampere = Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
KelvinPerWatt = Annotated[float, Field(gt=0, le=100, allow_inf_nan=False)]
Celsius = Annotated[float, Field(gt=0, le=500, allow_inf_nan=False)]

MOST_DEVICES = 4  # as many as the contract has drain channels
MOST_CSV = 1 << 18  # characters; more would hold the interpreter too long while it is read

# --- what is booked in -----------------------------------------------------------------------------------------


class DeviceData(Model):
    """What a device's maker says of its heat (JESD51): junction to case, case to sink, junction at most."""

    rth_jc_k_w: KelvinPerWatt | None = None
    rth_cs_k_w: KelvinPerWatt | None = None
    tj_max_c: Celsius | None = None


class DeviceType(DeviceData):
    """One device type of the library that a workshop keeps for itself."""

    name: Named
    note: Words = ""


class Fitted(DeviceData):
    """What was fitted; device data that is left out is taken from the library when the unit is booked in."""

    type: Line = ""
    lot: Line = ""
    bias_method: Words = ""


class DeviceSetUp(Model):
    """What one output device was set to: gate (or base) volts, and idle current."""

    bias_v: Volt | None = None
    idle_a: Ampere | None = None


class Power(Model):
    """Power in each mode, W, and the meter on which it was read."""

    am_carrier_w: Watt | None = None
    am_pep_w: Watt | None = None
    fm_w: Watt | None = None
    ssb_pep_w: Watt | None = None
    meter: Line = ""


class Sheet(Model):
    """The set-up sheet: what was fitted, set and measured; any of it may be left out."""

    fitted: Fitted = Field(default_factory=Fitted)
    device: list[DeviceSetUp] = Field(default_factory=list, max_length=MOST_DEVICES)
    before: Power = Field(default_factory=Power)
    after: Power = Field(default_factory=Power)


class Booking(Sheet):
    """One unit, booked in. The customer may be left out, and erased later."""

    number: Named  # the job's number
    unit: Named  # as people call it: MR-25 no. 014
    kind: Line = ""  # of unit: those of one kind are compared
    serial: Line = ""
    customer: Words | None = Field(default=None, repr=False)  # repr: no name may reach a log or a trace


class BookingView(Booking):
    """A booking as it is kept. The list does not tell the customer, only the booking itself does."""

    booking: int
    booked_ns: int
    changed_ns: int
    jobs: list[int] = Field(default_factory=list)  # its soaks, the oldest first


# --- what is said of a sheet -----------------------------------------------------------------------------------


class Question(Model):
    """Something on a sheet that physics or practice doubts; the fields that it is about, and where it comes from."""

    check: str
    fields: list[str]
    text: str
    source: str


class NotJudged(Model):
    """A check that can't judge, and what it lacks: never to be read as good."""

    check: str
    why: str


class FieldProblem(Model):
    """A field that can't be what it is, and what would be right."""

    field: str
    what: str


class SheetJudged(Model):
    """What there is to say of a set-up sheet, however much of it is filled in."""

    questions: list[Question] = Field(default_factory=list)
    not_judged: list[NotJudged] = Field(default_factory=list)
    gain_db: dict[str, float] = Field(default_factory=dict)  # by mode, after over before
    depth: dict[str, float] = Field(default_factory=dict)  # modulation depth, before and after; 1 is full
    idle_spread: float | None = None  # (greatest - least) / mean
    problems: list[FieldProblem] = Field(default_factory=list)
    missing: list[str] = Field(default_factory=list)  # without these it can't be booked in


class Booked(Model):
    """A booking was kept, with what there is to ask about its sheet."""

    booking: int
    judged: SheetJudged


class Batch(Model):
    """The text of a CSV file with a unit a row."""

    csv: str = Field(max_length=MOST_CSV, repr=False)


class BookedRow(Model):
    """A row that was kept; the header is row 1, as in a spreadsheet."""

    row: int
    booking: int
    number: str
    unit: str
    questions: list[Question] = Field(default_factory=list)


class RowProblem(Model):
    """A field of a row that is wrong; nothing of that row was kept."""

    row: int
    field: str
    what: str


class BatchBooked(Model):
    """What became of the rows of a batch."""

    kept: list[BookedRow]
    bad: list[RowProblem]
