"""Soaks on one time axis that begins at key-on."""

from daemon.api.models import CurvesView, JobView


def key_on_s(job: JobView, curves: CurvesView) -> float:
    """When the radio was first keyed, seconds after the soak's start: by the node's own word, else by the plan."""
    key = next((c for c in curves.curves if c.channel == "key"), None)
    if key is not None:
        for at_s, value in zip(key.at_s, key.value, strict=True):
            if value is not None and value >= 0.5:
                return at_s
    return next((phase.start_s for phase in job.plan.phases if phase.drive != "off"), 0.0)
