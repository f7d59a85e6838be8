"""The calibrations that stood behind a job, as its certificate names them."""

from datetime import datetime

from daemon.api.models import JobView
from daemon.calibration.kept import Calibrations
from daemon.calibration.known import expanded_of
from daemon.certificate.facts import Calibration


def of_job(kept: Calibrations, job: JobView) -> list[Calibration]:
    """By channel; U is that at the soak's figure, None where the soak has no figure of the channel. Raises NoSuch."""
    known = {one.channel: one for one in kept.of(job.calibrations)}
    expanded = expanded_of(known, {name: value for name, value in job.figures.items() if value is not None})
    return [
        Calibration(
            id=str(one.id),
            channel=channel,
            made=datetime.fromtimestamp(one.made_ns / 1e9).astimezone().date(),
            due=one.due,
            expanded=expanded.get(channel),
            kind=str(one.kind),
            points=len(one.points),
            reference=one.reference,
        )
        for channel, one in sorted(known.items())
    ]
