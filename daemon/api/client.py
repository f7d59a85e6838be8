"""The control API from a caller's side: one method a route, models in and out, every failure an ApiError."""

from collections.abc import AsyncIterator, Iterator, Sequence
from typing import Any

import httpx
import msgspec
from pydantic import TypeAdapter

from daemon.api.alert_models import AlertRate, AlertView, NoteOrder, ReasonOrder, ShelveOrder
from daemon.api.booking_models import (
    Batch,
    BatchBooked,
    Booked,
    Booking,
    BookingView,
    DeviceType,
    SheetJudged,
)
from daemon.api.calibration_models import CalibrationJudged, CalibrationOrder, CalibrationView
from daemon.api.calls import Caller, why
from daemon.api.deltas import Patch
from daemon.api.errors import ApiError, DaemonSilent
from daemon.api.load_models import LoadRating
from daemon.api.lot_models import LotView
from daemon.api.models import (
    BandView,
    BayView,
    CurvesView,
    Health,
    JobView,
    LimitView,
    PlanFile,
    PlanJudged,
    PlanText,
    RackView,
    Said,
    SoakOrder,
)
from daemon.api.tell_models import TellsView, TellTest, TellTried

_ALERTS = TypeAdapter(list[AlertView])
_CALIBRATIONS = TypeAdapter(list[CalibrationView])
_BOOKINGS = TypeAdapter(list[BookingView])
_DEVICES = TypeAdapter(list[DeviceType])
_JOBS = TypeAdapter(list[JobView])
_LIMITS = TypeAdapter(list[LimitView])
_LOADS = TypeAdapter(dict[str, LoadRating])
_LOTS = TypeAdapter(list[LotView])
_PLANS = TypeAdapter(list[PlanFile])
_TRIED = TypeAdapter(list[TellTried])
#: a target that hangs is given up after half a minute
TRY_S = 40.0
#: half a second of a processor, and a second to load what it needs; many may be wanted at once
MAKE_S = 60.0


class Client(Caller):
    """All that a daemon can be asked and told; a method a route."""

    def health(self) -> Health:
        """Whether the daemon keeps up."""
        return self._get("/v1/health", Health)

    def rack(self) -> RackView:
        """All bays as they stand now."""
        return self._get("/v1/rack", RackView)

    def bay(self, bay: str) -> BayView:
        """One bay as it stands now."""
        return self._get(f"/v1/bays/{bay}", BayView)

    def plans(self) -> list[PlanFile]:
        """Plans to begin from, the shortest first."""
        return _PLANS.validate_json(self._call("GET", "/v1/plans").content)

    def judge_plan(self, text: str) -> PlanJudged:
        """What a plan's text says, or every field that is wrong in it."""
        content = PlanText(text=text).model_dump_json()
        return PlanJudged.model_validate_json(self._call("POST", "/v1/plans/judge", content=content).content)

    def save_plan(self, text: str, replace: bool = False) -> Said:
        """Save a plan under its name; ``replace``: also over one that was saved before."""
        return self._post("/v1/plans", PlanText(text=text, replace=replace))

    def band(self, job: int, channel: str, without: Sequence[int] = ()) -> BandView:
        """What earlier good units did on one channel by the plan of ``job``."""
        return self._get(f"/v1/jobs/{job}/band", BandView, {"channel": channel, "without": ",".join(map(str, without))})

    def jobs(self) -> list[JobView]:
        """All soaks, the newest first."""
        return _JOBS.validate_json(self._call("GET", "/v1/jobs").content)

    def job(self, job: int) -> JobView:
        """One soak."""
        return self._get(f"/v1/jobs/{job}", JobView)

    def curves(
        self, job: int, from_s: float | None = None, to_s: float | None = None, points: int = 2000
    ) -> CurvesView:
        """The curves of a soak between two moments, thinned to about ``points`` a channel."""
        asked = {"from_s": from_s, "to_s": to_s, "points": points}
        return self._get(f"/v1/jobs/{job}/curves", CurvesView, {k: v for k, v in asked.items() if v is not None})

    def export(self, job: int, form: str = "csv") -> Iterator[bytes]:
        """A soak as a file, piece by piece; ``form`` is csv, parquet or senml."""
        try:
            with self._http.stream("GET", f"/v1/jobs/{job}/export", params={"form": form}) as answer:
                if answer.is_error:
                    answer.read()
                    raise ApiError(why(answer), answer.status_code)
                yield from answer.iter_bytes()
        except httpx.HTTPError as err:
            raise DaemonSilent(self.url, str(err) or type(err).__name__) from err

    def certificate(self, job: int, ending: str = "pdf") -> bytes:
        """The certificate of a finished soak; ``ending`` is pdf or html. Takes a second or two."""
        return self._call("GET", f"/v1/jobs/{job}/certificate.{ending}", timeout=MAKE_S).content

    def unkey(self, bay: str | None = None) -> Said:
        """Unkey one bay, or all of them."""
        return self._post("/v1/unkey" if bay is None else f"/v1/bays/{bay}/unkey")

    def soak(self, bay: str, order: SoakOrder) -> Said:
        """Start a soak."""
        return self._post(f"/v1/bays/{bay}/soak", order)

    def loads(self) -> dict[str, LoadRating]:
        """What the dummy loads of bays take, where rack.toml says it."""
        return _LOADS.validate_json(self._call("GET", "/v1/loads").content)

    def release(self, bay: str, order: ReasonOrder) -> Said:
        """Switch a radio's supply on again after it was cut: who, and what was found."""
        return self._post(f"/v1/bays/{bay}/release", order)

    def done(self, bay: str) -> Said:
        """Say that what the plan's phase asks of a person is done."""
        return self._post(f"/v1/bays/{bay}/done")

    def limits(self) -> list[LimitView]:
        """Every limit, with its meaning and the rules that go by it."""
        return _LIMITS.validate_json(self._call("GET", "/v1/limits").content)

    def tell(self) -> TellsView:
        """Everybody who is told of alerts, and whether they can be."""
        return self._get("/v1/tell", TellsView)

    def tell_test(self, target: str | None = None) -> list[TellTried]:
        """Send a test message to one target, or to all; waits for the slowest."""
        content = TellTest(target=target).model_dump_json()
        return _TRIED.validate_json(self._call("POST", "/v1/tell/test", content=content, timeout=TRY_S).content)

    def alerts(self, closed: int = 0) -> list[AlertView]:
        """Open alerts, worst and newest first; after them the last ``closed`` that are normal again."""
        return _ALERTS.validate_json(self._call("GET", "/v1/alerts", params={"closed": closed}).content)

    def alert(self, alert: int) -> AlertView:
        """One alert, open or not, with its history."""
        return self._get(f"/v1/alerts/{alert}", AlertView)

    def alert_rate(self) -> AlertRate:
        """How often people are told something, against EEMUA 191 and ISA-18.2."""
        return self._get("/v1/alerts/rate", AlertRate)

    def acknowledge(self, alert: int, order: NoteOrder) -> Said:
        """Say that an alert has been seen, with all that is folded under it."""
        return self._post(f"/v1/alerts/{alert}/acknowledge", order)

    def shelve(self, alert: int, order: ShelveOrder) -> Said:
        """Hide an alert for a time."""
        return self._post(f"/v1/alerts/{alert}/shelve", order)

    def unshelve(self, alert: int, order: NoteOrder) -> Said:
        """Take an alert off the shelf."""
        return self._post(f"/v1/alerts/{alert}/unshelve", order)

    def out_of_service(self, alert: int, order: ReasonOrder) -> Said:
        """Hide an alert until it is put back by hand."""
        return self._post(f"/v1/alerts/{alert}/out-of-service", order)

    def in_service(self, alert: int, order: NoteOrder) -> Said:
        """Put an alert back in service."""
        return self._post(f"/v1/alerts/{alert}/in-service", order)

    def reset(self, alert: int, order: ReasonOrder) -> Said:
        """Reset a latched trip whose cause has gone."""
        return self._post(f"/v1/alerts/{alert}/reset", order)

    def lots(self) -> list[LotView]:
        """What the units of each kind and device lot tell together, the largest lot first."""
        return _LOTS.validate_json(self._call("GET", "/v1/lots").content)

    def bookings(self, find: str = "", most: int = 200) -> list[BookingView]:
        """Bookings, the newest first, those with ``find`` in number, unit or serial; without their customers."""
        return _BOOKINGS.validate_json(self._call("GET", "/v1/bookings", params={"find": find, "most": most}).content)

    def booking(self, booking: int) -> BookingView:
        """One booking, with its customer."""
        return self._get(f"/v1/bookings/{booking}", BookingView)

    def check_booking(self, typed: dict[str, Any]) -> SheetJudged:
        """What there is to say of a booking as far as it is typed; nothing is kept."""
        answer = self._call("POST", "/v1/bookings/check", content=msgspec.json.encode(typed))
        return SheetJudged.model_validate_json(answer.content)

    def book(self, booking: Booking, over: int | None = None) -> Booked:
        """Book a unit in; ``over``: put the newer sheet in the place of that booking's."""
        method, path = ("POST", "/v1/bookings") if over is None else ("PUT", f"/v1/bookings/{over}")
        return Booked.model_validate_json(self._call(method, path, content=booking.model_dump_json()).content)

    def book_batch(self, csv: str) -> BatchBooked:
        """Book in a unit a row: good rows are kept, bad ones named."""
        content = Batch(csv=csv).model_dump_json()
        return BatchBooked.model_validate_json(self._call("POST", "/v1/bookings/batch", content=content).content)

    def erase_customer(self, booking: int) -> Said:
        """Remove a booking's customer for good."""
        return Said.model_validate_json(self._call("DELETE", f"/v1/bookings/{booking}/customer").content)

    def devices(self) -> list[DeviceType]:
        """The library of device types, by name."""
        return _DEVICES.validate_json(self._call("GET", "/v1/devices").content)

    def put_device(self, device: DeviceType) -> Said:
        """Put a device type into the library, or its newer data in its place."""
        return Said.model_validate_json(self._call("PUT", "/v1/devices", content=device.model_dump_json()).content)

    def remove_device(self, name: str) -> Said:
        """Take a device type out of the library."""
        return Said.model_validate_json(self._call("DELETE", "/v1/devices", params={"name": name}).content)

    def calibrations(self, bay: str | None = None, channel: str | None = None) -> list[CalibrationView]:
        """Calibrations, the newest first, those that were superseded too."""
        asked = {name: word for name, word in (("bay", bay), ("channel", channel)) if word is not None}
        return _CALIBRATIONS.validate_json(self._call("GET", "/v1/calibrations", params=asked).content)

    def check_calibration(self, order: CalibrationOrder) -> CalibrationJudged:
        """What would come of a calibration; nothing is kept."""
        answer = self._call("POST", "/v1/calibrations/check", content=order.model_dump_json())
        return CalibrationJudged.model_validate_json(answer.content)

    def calibrate(self, order: CalibrationOrder) -> CalibrationView:
        """Put a calibration in force; one that changes a reading by much wants ``confirm``."""
        answer = self._call("POST", "/v1/calibrations", content=order.model_dump_json())
        return CalibrationView.model_validate_json(answer.content)


async def follow(url: str, silence_s: float = 2.0) -> AsyncIterator[Patch]:
    """What changes on the rack, as it changes, the whole of it first (daemon/api/deltas.py puts it together).

    Raises DaemonSilent when the daemon says nothing for ``silence_s`` seconds, or ends.
    """
    try:
        # trust_env: as for the client, no proxy between a person and the rack
        async with (
            httpx.AsyncClient(base_url=url, timeout=silence_s, trust_env=False) as http,
            http.stream("GET", "/v1/live") as answer,
        ):
            answer.raise_for_status()
            async for line in answer.aiter_lines():
                patch: Patch = msgspec.json.decode(line)
                yield patch
    except (httpx.HTTPError, msgspec.DecodeError) as err:
        raise DaemonSilent(url, str(err) or type(err).__name__) from err
    raise DaemonSilent(url, "it ended the stream")
