"""What the pages of What if show: figures with their ranges, what was changed in words, the bottleneck. Only reads."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Sum

from shared.jobs import OPEN, job_of
from shared.models import Job
from shopfloor.floor_now import MEASURED, VARIATION
from shopfloor.flow.comparison import BUSY, FITTINGS, LATE, LEAD, LEAD_NINE, THERE, WAITING
from shopfloor.flow.floor import OLDEST
from shopfloor.flow.queue import stations_by_operation
from shopfloor.flow.relief import relief
from shopfloor.models import Station, Study
from shopfloor.studies import KIND_NAMES, STUDY, ChangeAsked, relief_kept, study_get
from travelers.models import Operation, Task

WHOLE = (
    (FITTINGS, "Fittings finished a day", 1, True),
    (LEAD, "Working days from release to finish, half of the fittings", 2, False),
    (LEAD_NINE, "Working days from release to finish, nine in ten", 2, False),
    (THERE, "Fittings on the floor", 1, False),
    (LATE, "Orders finished late", 1, False),
)
"""Measures of the whole floor: name, label, places, and whether more is better."""
BY_OPERATION = (
    (WAITING, "Pieces waiting", 1, False),
    (BUSY, "Stations at work, %", 0, None),
)
DASH = "—"


@dataclass(frozen=True)
class Figure:
    """One measure on both floors. `state` is a state mark's name, blank for a plain word; `word` says what differs."""

    label: str
    now: str
    then: str
    difference: str
    state: str
    word: str


def figures(study: Study) -> list[Figure]:
    """Of the whole floor."""
    found = study.result["measures"]
    return [_figure(label, found[name], places, is_good) for name, label, places, is_good in WHOLE]


def figures_by_operation(study: Study) -> list[tuple[str, list[Figure]]]:
    """(operation's name, its figures), in flow order."""
    found = study.result["measures"]
    names = dict(Operation.objects.values_list("code", "name"))
    codes = [name.partition(" ")[2] for name in found if name.startswith(f"{WAITING} ")]
    return [
        (
            names.get(code, code),
            [
                _figure(label, found[f"{name} {code}"], places, is_good, 100 if name == BUSY else 1)
                for name, label, places, is_good in BY_OPERATION
            ],
        )
        for code in codes
    ]


def _figure(label: str, sides: dict[str, list], places: int, is_good: bool | None, by: float = 1) -> Figure:
    now, then, (mean, half) = sides["now"], sides["then"], sides["difference"]
    if mean is None or half is None or half >= abs(mean) or not round(mean * by, places):
        state, word = "", "No sure difference"
    elif is_good is None:
        state, word = "", "More" if mean > 0 else "Less"
    else:
        state, word = ("done", "Better") if (mean > 0) == is_good else ("held", "Worse")
    return Figure(
        label,
        _said(now, places, by),
        _said(then, places, by),
        _said([mean, half], places, by, True),
        state,
        word,
    )


def _said(value: list, places: int, by: float = 1, has_sign: bool = False) -> str:
    """ "12.3 ± 0.4"; a dash where it is not known."""
    mean, half = value
    if mean is None:
        return DASH
    text = f"{mean * by:+.{places}f}" if has_sign else f"{mean * by:.{places}f}"
    text = text.replace("-", "−")
    return text if half is None else f"{text} ± {half * by:.{places}f}"


def changes_said(study: Study) -> list[str]:
    """What is different, a sentence each."""
    asked = ChangeAsked(**study.change)
    names = dict(Operation.objects.values_list("code", "name"))
    said = []
    for code, count in asked.benches.items():
        if count:
            many = "station" if abs(count) == 1 else "stations"
            said.append(f"{names.get(code, code)}: {abs(count)} {many} {'more' if count > 0 else 'fewer'}")
    if asked.people is not None:
        said.append(
            f"At most {asked.people} {'person works' if asked.people == 1 else 'people work'} at once"
        )
    if asked.longer:
        hours = "hour" if abs(asked.longer) == 1 else "hours"
        said.append(
            f"A working day {abs(asked.longer)} {hours} {'longer' if asked.longer > 0 else 'shorter'}"
        )
    for code, cap in asked.caps.items():
        said.append(f"{names.get(code, code)}: at most {cap} pieces, what feeds it is held back")
    if asked.lot is not None and asked.lot > 1:
        said.append(f"Segments of a line move on {asked.lot} at a time")
    if asked.rule == OLDEST:
        said.append("The longest ready goes first, instead of the tablets’ order")
    if asked.inflow != 100:
        said.append(f"New work: {asked.inflow} % of what came in the last four weeks")
    for kind, share in asked.mix.items():
        said.append(f"{KIND_NAMES.get(kind, kind)}: {share} % of the lines that came in the last four weeks")
    return said


def times_said(study: Study) -> str:
    """Which times and which spread the simulation drew."""
    names = dict(Operation.objects.order_by("position").values_list("code", "name"))
    spread = study.result.get("spread") or {}
    at = ", ".join(f"{name} {spread[code]:.2f}" for code, name in names.items() if code in spread)
    times = "the shop’s standard times"
    if ChangeAsked(**study.change).times == MEASURED:
        times = "as measured where a method was timed often enough, else the shop’s standard times"
    if not at:
        return f"Times are {times}, with the usual spread of hand work, {VARIATION:g}: a value from memory."
    rest = "" if spread.keys() >= names.keys() else f"; elsewhere {VARIATION:g}, a value from memory"
    return f"Times are {times}. Their spread as measured: {at}{rest}."


def relief_said(found: dict[str, Any] | None) -> str:
    """The bottleneck in a sentence; empty where there is no work."""
    if found is None:
        return ""
    names = dict(Operation.objects.values_list("code", "name"))
    worst, then = (names.get(code, code) for code in (found["operation"], found["then"]))
    if found["gain"] is None:
        return f"{worst} has work and no active station: it holds back everything."
    gain = f"one station more there gives +{100 * found['gain']:.0f} %"
    if found["then"] == found["operation"]:
        return f"The bottleneck is {worst}: {gain}, and it stays the bottleneck."
    return f"The bottleneck is {worst}: {gain}, until {then} becomes the bottleneck."


def relief_now() -> str:
    """The same of the open work alone. Three queries."""
    hours = {
        code: (minutes or 0.0) / 60
        for code, minutes in Task.objects.open().values_list("operation_id").annotate(Sum("minutes"))
    }
    operations = Station.objects.filter(is_active=True).values_list("operations", flat=True)
    found = relief(hours, stations_by_operation(operations))
    return relief_said(relief_kept(found)) if found else ""


@dataclass(frozen=True)
class StudyProgress:
    study: Study
    job: Job | None
    now: datetime

    @property
    def is_open(self) -> bool:
        return self.study.state == Study.State.MAKING

    @property
    def is_running(self) -> bool:
        return self.job is not None and self.job.state == Job.State.RUNNING

    @property
    def is_stopping(self) -> bool:
        return self.job is not None and self.job.state in OPEN and self.job.wants_stop

    @property
    def per_cent(self) -> int:
        return round(100 * self.job.share) if self.job else 0


def study_progress(pk: int, *, now: datetime) -> StudyProgress:
    """raises  NotFound"""
    study = study_get(pk)
    return StudyProgress(study, job_of(STUDY, f"{pk}"), now)
