"""Plans: the timed course of a soak, read from TOML, and where a moment of the soak lies in it."""

import math
from bisect import bisect_right
from functools import cached_property
from pathlib import Path
from typing import Annotated, NamedTuple, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from alerts.limits import Limits
from daemon.api.models import PhaseView, PlanView
from daemon.files import parse, read_text
from sensors.types import Drive

Seconds = Annotated[float, Field(gt=0, le=7 * 86_400, allow_inf_nan=False)]


class Phase(BaseModel):
    """One part of a plan. With ``on_s`` and ``off_s`` the key comes and goes; without, it stays down."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    drive: Drive
    minutes: float = Field(gt=0, le=7 * 24 * 60, allow_inf_nan=False)
    on_s: Seconds | None = None
    off_s: Seconds | None = None
    ask: str | None = Field(default=None, min_length=1, max_length=200)

    @model_validator(mode="after")
    def _both_or_neither(self) -> Self:
        if (self.on_s is None) != (self.off_s is None):
            raise ValueError("on_s and off_s go together: give both, or leave both out for key-down throughout")
        if self.drive is Drive.OFF and self.on_s is not None:
            raise ValueError('on_s and off_s have no meaning where drive = "off": nothing is keyed')
        return self


def _at_least_one(phases: list[Phase]) -> list[Phase]:
    if not phases:
        raise ValueError("a plan needs at least one [[phase]], with its drive and its minutes")
    return phases


class Moment(NamedTuple):
    """Where one moment lies in a plan."""

    phase: int
    drive: Drive
    key: bool
    phase_start_s: float
    on_limit_s: float


class Plan(BaseModel):
    """The timed course of a soak, with its limits."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str = Field(default="soak", min_length=1, max_length=100)
    phase: Annotated[list[Phase], AfterValidator(_at_least_one)] = Field(
        default=[], max_length=1000, validate_default=True
    )
    limits: Limits = Field(default_factory=Limits)

    @classmethod
    def from_toml(cls, text: str, source: Path | str = "plan") -> Self:
        """A plan from the text of its file; raises BadFile."""
        return parse(text, cls, source)

    @classmethod
    def from_file(cls, path: Path) -> Self:
        """A plan from its file; raises BadFile."""
        return cls.from_toml(read_text(path), path)

    @cached_property
    def starts_s(self) -> list[float]:
        """When each phase begins, seconds from the start."""
        starts = [0.0]
        for phase in self.phase[:-1]:
            starts.append(starts[-1] + phase.minutes * 60)
        return starts

    @cached_property
    def total_s(self) -> float:
        """How long the whole plan takes, seconds."""
        return math.fsum(phase.minutes * 60 for phase in self.phase)

    @cached_property
    def key_down_s(self) -> float:
        """How long the plan asks for the key, in all, seconds."""
        return math.fsum(_keyed_s(phase) for phase in self.phase)

    def at(self, elapsed_s: float) -> Moment:
        """Where ``elapsed_s`` seconds after the start lies; beyond the end the last phase, unkeyed."""
        index = max(0, bisect_right(self.starts_s, elapsed_s) - 1)
        phase, start_s = self.phase[index], self.starts_s[index]
        inside_s = elapsed_s - start_s
        key = phase.drive is not Drive.OFF and 0 <= inside_s < phase.minutes * 60
        if phase.on_s is not None and phase.off_s is not None:
            key = key and inside_s % (phase.on_s + phase.off_s) < phase.on_s
        limit_s = phase.on_s if phase.on_s is not None else self._runs_s[index]
        return Moment(index, phase.drive, key, start_s, limit_s)

    @cached_property
    def _runs_s(self) -> list[float]:
        # phases that follow each other key-down throughout are one long key-down
        runs: list[list[float]] = []
        for before, phase in zip([None, *self.phase], self.phase, strict=False):
            if not (runs and before and _throughout(before) and _throughout(phase)):
                runs.append([])
            runs[-1].append(phase.minutes * 60)
        return [math.fsum(run) for run in runs for _ in run]

    def view(self) -> PlanView:
        """The plan as the soak strip draws it."""
        ends = [*self.starts_s[1:], self.total_s]
        return PlanView(
            name=self.name,
            total_s=self.total_s,
            phases=[
                PhaseView(drive=p.drive, start_s=a, end_s=b, on_s=p.on_s, off_s=p.off_s, ask=p.ask)
                for p, a, b in zip(self.phase, self.starts_s, ends, strict=True)
            ],
        )


def _throughout(phase: Phase) -> bool:
    return phase.drive is not Drive.OFF and phase.on_s is None


def _keyed_s(phase: Phase) -> float:
    whole_s = phase.minutes * 60
    if phase.drive is Drive.OFF:
        return 0.0
    if phase.on_s is None or phase.off_s is None:
        return whole_s
    cycles, rest_s = divmod(whole_s, phase.on_s + phase.off_s)
    return cycles * phase.on_s + min(rest_s, phase.on_s)
