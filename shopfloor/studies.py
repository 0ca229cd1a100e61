"""What if: a question to the simulation is asked, made by a worker, kept under its name.

The same work with the same luck goes over the floor as it is and as it might be. Open work comes first; new work comes
as it came in the last weeks. Nothing on the floor is changed by asking.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from typing import Any

from django.db import transaction

from fittings.geometry import KINDS
from shared import jobs
from shared.jobs import Run, Work
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.texts import tidy
from shared.turn import write_turn
from shopfloor.floor_now import MEASURED, STANDARD, FloorNow, benches_of, floor_now
from shopfloor.flow.arrivals import coming
from shopfloor.flow.comparison import Change, Compared, changed, compared
from shopfloor.flow.floor import NEXT_PIECE, OLDEST, FloorError
from shopfloor.flow.relief import Relief, relief
from shopfloor.models import Study
from shopfloor.working_time import shop_calendar
from travelers.models import Operation

STUDY = "study"
"""The kind of the job; its subject is the study's key."""
SEED = 1
MOST_KEPT = 200
LONGEST_NAME = 60
LIMITS: dict[str, tuple[int, int, str]] = {
    "days": (1, 30, "Working days"),
    "runs": (5, 200, "Runs"),
    "people": (1, 200, "People at work"),
    "longer": (-12, 12, "Hours a day"),
    "inflow": (0, 300, "New work"),
    "lot": (1, 100, "Lot"),
}
MOST_BENCHES = 5
MOST_CAP = 5000
RULES = (NEXT_PIECE, OLDEST)
KIND_NAMES = {code: kind.title for code, kind in KINDS.items()}
TIMES = (STANDARD, MEASURED)


@dataclass(frozen=True)
class ChangeAsked:
    """What is to be different, as it was asked.

    benches  stations more or fewer, by operation
    people   at most at work; None: as many as there are stations
    longer   hours of work a day more or fewer
    caps     pieces at an operation at most, by operation
    lot      segments that move on together; None: each at once
    inflow   new work, per cent of what came lately
    times    of the work on both floors, STANDARD or MEASURED: no change by itself
    mix      new work by kind of fitting, per cent of what came lately
    """

    benches: Mapping[str, int] = field(default_factory=dict)
    people: int | None = None
    longer: int = 0
    caps: Mapping[str, int] = field(default_factory=dict)
    lot: int | None = None
    rule: str = NEXT_PIECE
    inflow: int = 100
    times: str = STANDARD
    mix: Mapping[str, int] = field(default_factory=dict)

    @property
    def is_empty(self) -> bool:
        return replace(self, times=STANDARD) == ChangeAsked()


def study_request(
    *, name: str, asked: ChangeAsked, days: int, runs: int, actor: Actor, now: datetime
) -> Study:
    """Ask; a worker makes it.

    raises  WrongInput with an entry per wrong field; Conflict where too many are kept
    """
    name = tidy(name)
    errors = []
    if not name or len(name) > LONGEST_NAME:
        text = f"Enter a name of 1 to {LONGEST_NAME} characters."
        errors.append(FieldError("name", name, f"1 to {LONGEST_NAME} characters", text))
    given = {
        "days": days, "runs": runs, "people": asked.people, "longer": asked.longer,
        "inflow": asked.inflow, "lot": asked.lot,
    }  # fmt: skip
    for key, value in given.items():
        low, high, label = LIMITS[key]
        if value is not None and not low <= value <= high:
            errors.append(
                FieldError(key, value, f"{low} to {high}", f"{label} can be {low} to {high}, not {value}.")
            )
    operations = dict(Operation.objects.values_list("code", "name"))
    for part, values, known, noun, (low, high), what in (
        (
            "benches",
            asked.benches,
            operations,
            "operation",
            (-MOST_BENCHES, MOST_BENCHES),
            "Stations more or fewer at",
        ),
        ("caps", asked.caps, operations, "operation", (1, MOST_CAP), "The cap at"),
        ("mix", asked.mix, KIND_NAMES, "kind", LIMITS["inflow"][:2], "New work of"),
    ):
        for code, value in values.items():
            at = f"{part}.{code}"
            if code not in known:
                errors.append(FieldError(at, code, ", ".join(known), f"There is no {noun} {code[:20]}."))
            elif not low <= value <= high:
                text = f"{what} {known[code]} can be {low} to {high}, not {value}."
                errors.append(FieldError(at, value, f"{low} to {high}", text))
    if asked.rule not in RULES:
        errors.append(
            FieldError("rule", asked.rule, ", ".join(RULES), f"The rule can be {' or '.join(RULES)}.")
        )
    if asked.times not in TIMES:
        errors.append(
            FieldError("times", asked.times, ", ".join(TIMES), f"The times can be {' or '.join(TIMES)}.")
        )
    if asked.is_empty and not errors:
        errors.append(FieldError("change", "", "a change", "Change at least one thing."))
    if errors:
        raise WrongInput(errors)
    with write_turn(), transaction.atomic():
        if Study.objects.count() >= MOST_KEPT:
            raise Conflict(f"{MOST_KEPT} questions are kept. Remove one that is no longer needed.")
        study = Study.objects.create(
            name=name, change=asdict(asked), days=days, runs=runs, asked_by=actor.name, asked_at=now
        )
        jobs.job_enqueue(kind=STUDY, subject=f"{study.pk}", asked_by=actor.name, now=now)
    return study


def study_get(pk: int) -> Study:
    study = Study.objects.filter(pk=pk).first()
    if study is None:
        raise NotFound(f"There is no question {pk}.")
    return study


def study_stop(*, pk: int, actor: Actor, now: datetime) -> None:
    """Stop and keep what the runs so far say."""
    jobs.job_stop(kind=STUDY, subject=f"{study_get(pk).pk}", now=now)


def study_remove(*, pk: int, actor: Actor, now: datetime) -> None:
    """Take it away; a worker that is at it notices."""
    with write_turn(), transaction.atomic():
        study = Study.objects.select_for_update().filter(pk=pk).first()
        if study is None:
            raise NotFound(f"There is no question {pk}.")
        jobs.job_cancel(kind=STUDY, subject=f"{pk}", now=now)
        study.delete()


# -- making it -----------------------------------------------------------------------


def study_make(run: Run) -> None:
    """Make the study whose key is the job's subject."""
    study = study_get(int(run.subject))
    asked = ChangeAsked(**study.change)
    there = floor_now(shop_calendar(), now=run.now(), times=asked.times)
    if not there.jobs and not there.recipes:
        raise Conflict(
            "There is no open work, and none came in the last four weeks. There is nothing to simulate."
        )
    day = there.calendar.day_hours
    change = change_of(asked, day)
    other = changed(there.floor, change)
    lost = [
        code for code in there.floor.operations if not any(code in one.operations for one in other.benches)
    ]
    if lost:
        raise Conflict(f"No station would be left for {', '.join(lost)}.")

    def jobs_of(number: int, change: Change):
        new = coming(
            there.recipes,
            per_hour=there.per_hour * change.inflow,
            hours=study.days * day,
            seed=SEED + number,
            mix=change.mix,
        )
        return (*there.jobs, *new)

    try:
        found, runs = compared(
            there.floor,
            change,
            jobs_of,
            day=day,
            days=study.days,
            runs=study.runs,
            seed=SEED,
            tell=lambda share: run.tell(share, f"{round(share * study.runs)} of {study.runs} runs"),
        )
    except FloorError as wrong:
        raise Conflict(f"The floor with the change cannot do the work. {wrong}") from None
    result = {
        "runs": runs,
        "day_hours": day,
        "open_fittings": len(there.jobs),
        "per_day": there.per_hour * day,
        "nobody": list(there.nobody),
        "spread": dict(there.spread),
        "measures": {name: _plain(one) for name, one in found.items()},
        "relief": _relief(there, Change({}), study.days),
        "relief_then": _relief(there, change, study.days),
    }
    with write_turn(), transaction.atomic():
        study = Study.objects.select_for_update().filter(pk=study.pk).first()
        if study is not None:
            study.state, study.result, study.message = Study.State.MADE, result, ""
            study.save(update_fields=["state", "result", "message"])
        run.finish(f"{runs} runs.")


def study_failed(run: Run, sentence: str) -> None:
    Study.objects.filter(pk=int(run.subject)).update(state=Study.State.FAILED, message=sentence[:300])


STUDY_WORK = Work(study_make, on_fail=study_failed)


def change_of(asked: ChangeAsked, day: float) -> Change:
    """As the simulation takes it. `day` is a working day as it is now [h]."""
    longer = max(0.1, (day + asked.longer) / day) if day else 1.0
    return Change(
        {code: count for code, count in asked.benches.items() if count},
        asked.people,
        longer,
        dict(asked.caps) or None,
        asked.lot,
        asked.rule,
        asked.inflow / 100,
        {kind: share / 100 for kind, share in asked.mix.items()} or None,
    )


def _plain(one: Compared) -> dict[str, Any]:
    def known(value: float) -> float | None:
        return value if math.isfinite(value) else None

    return {
        side: [known(value.mean), known(value.half)]
        for side, value in (("now", one.now), ("then", one.then), ("difference", one.difference))
    }


def _relief(there: FloorNow, change: Change, days: float) -> dict[str, Any] | None:
    """What holds back the work of these days: what is open, and what will come."""
    hours = there.open_hours
    fittings = sum(recipe.fittings for recipe in there.recipes)
    comes = there.per_hour * change.inflow * days * there.calendar.day_hours
    for recipe in there.recipes:
        share = (change.mix or {}).get(recipe.kind, 1.0) * recipe.fittings / fittings
        for steps in (*recipe.segments, recipe.whole):
            for step in steps:
                hours[step.operation] += step.hours * comes * share
    found = relief(hours, benches_of(changed(there.floor, change)))
    return relief_kept(found) if found else None


def relief_kept(found: Relief) -> dict[str, Any]:
    """As it is kept: an endless gain, where nobody does the work yet, is None."""
    return asdict(found) | {"gain": found.gain if math.isfinite(found.gain) else None}
