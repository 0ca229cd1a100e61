"""The rows of released lines, written in few statements: everybody else waits while they are.

A row for every task by the ORM would keep SQLite's one writer for seconds. Values of columns that are not named here
are their fields' defaults, so that a new column needs no change.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection

from fittings.models import Fitting, OrderLine, PieceState, Segment
from shared import rows
from shared.portions import in_portions
from travelers.models import Task, TaskState, Traveler
from travelers.routing import Step

LINES_TOGETHER = 200
ROWS_TOGETHER = 200
Timed = tuple[tuple[Step, float], ...]


@dataclass(frozen=True)
class Work:
    """How a fitting is made: its development, also as stored, the steps with minutes of its segments and of itself."""

    development: dict[str, Any]
    development_text: str
    segment_steps: tuple[Timed, ...]
    fitting_steps: Timed

    @property
    def segments(self) -> list[dict[str, Any]]:
        return self.development["segments"]


@dataclass(frozen=True)
class LineWork:
    """One line, ready to be written: its work, which lines of equal fittings share, and the fittings' numbers."""

    line: OrderLine
    work: Work
    numbers: range

    @property
    def lots(self) -> int:
        """How many travelers its fittings get."""
        return 1 if self.line.traveler_per == OrderLine.TravelerPer.LOT else len(self.numbers)

    @property
    def codes(self) -> int:
        return self.lots + len(self.numbers) * (1 + len(self.work.segments))


def pieces_write(plans: Sequence[LineWork], codes: Iterable[str], now: datetime) -> None:
    """Lines' developments, travelers, fittings, segments and tasks, in the caller's transaction.

    codes  as many as the plans need
    """
    codes = iter(codes)
    _write_developments(plans)
    _write_fittings(plans, codes)
    _write_segments(plans, codes)
    for together in _of_equal_work(plans):
        _write_tasks(together, now)


def _write_developments(plans: Sequence[LineWork]) -> None:
    text = "%s::jsonb" if connection.vendor == "postgresql" else "%s"
    for plan in plans:
        plan.line.development = plan.work.development
    rows.execute_many(
        f"UPDATE fittings_orderline SET development = {text} WHERE id = %s",
        [(plan.work.development_text, plan.line.pk) for plan in plans],
    )


def _write_fittings(plans: Sequence[LineWork], codes: Iterator[str]) -> None:
    travelers, fittings = [], []
    for plan in plans:
        of_fitting = _travelers(plan, codes, travelers)
        fittings += [
            (plan.line.order_id, plan.line.pk, number, next(codes), traveler)
            for number, traveler in zip(plan.numbers, of_fitting, strict=True)
        ]
    insert_rows(Traveler, ("code", "line_id", "first_number", "last_number"), travelers)
    insert_rows(Fitting, ("order_id", "line_id", "number", "code", "traveler_code"), fittings)


def _travelers(plan: LineWork, codes: Iterator[str], travelers: list[tuple]) -> list[str]:
    """The traveler's code of each fitting of a line; the travelers are added to the list."""
    if plan.line.traveler_per == OrderLine.TravelerPer.LOT:
        code = next(codes)
        travelers.append((code, plan.line.pk, plan.numbers[0], plan.numbers[-1]))
        return [code] * len(plan.numbers)
    made = [(next(codes), plan.line.pk, number, number) for number in plan.numbers]
    travelers += made
    return [code for code, *_ in made]


def _write_segments(plans: Sequence[LineWork], codes: Iterator[str]) -> None:
    ids = _fitting_ids([plan.line.pk for plan in plans])
    segments = []
    for plan in plans:
        shapes = [
            (
                one["position"],
                one["role"],
                one["pattern"],
                str(PieceState.OPEN if steps else PieceState.DONE),
            )
            for one, steps in zip(plan.work.segments, plan.work.segment_steps, strict=True)
        ]
        for number in plan.numbers:
            fitting = ids[plan.line.pk, number]
            segments += [(fitting, *shape, next(codes)) for shape in shapes]
    insert_rows(Segment, ("fitting_id", "position", "role", "pattern", "state", "code"), segments)


def _fitting_ids(lines: Sequence[int]) -> dict[tuple[int, int], int]:
    found = {}
    for part in in_portions(lines, ROWS_TOGETHER):
        listed = Fitting.objects.filter(line__in=part).values_list("line", "number", "pk")
        found.update({(line, number): pk for line, number, pk in listed})
    return found


def _of_equal_work(plans: Sequence[LineWork]) -> Iterator[list[LineWork]]:
    """Plans whose tasks one statement can make: the same work, the same numbers."""
    groups: dict[tuple[int, range], list[LineWork]] = {}
    for plan in plans:
        groups.setdefault((id(plan.work), plan.numbers), []).append(plan)
    for group in groups.values():
        yield from in_portions(group, LINES_TOGETHER)


# -- tasks -------------------------------------------------------------------

_GIVEN = (
    "fitting_id",
    "segment_id",
    "operation_id",
    "step",
    "method",
    "minutes",
    "needs_own_scan",
    "state",
    "ready_at",
)
_STEP = {
    "sqlite": rows.places(7),
    "postgresql": "(%s::smallint, %s, %s::smallint, %s, %s::float8, %s::boolean, %s::boolean)",
}


def _write_tasks(plans: Sequence[LineWork], now: datetime) -> None:
    """The tasks of lines of equal work, made from their fittings and segments where these are."""
    work = plans[0].work
    has_segment_steps = any(work.segment_steps)
    of_segments = [
        (one["position"], *_step_row(step, minutes, at == 0))
        for one, steps in zip(work.segments, work.segment_steps, strict=True)
        for at, (step, minutes) in enumerate(steps)
    ]
    of_fitting = [
        (0, *_step_row(step, minutes, at == 0 and not has_segment_steps))
        for at, (step, minutes) in enumerate(work.fitting_steps)
    ]
    _insert_tasks(of_segments, plans, now, is_of_segments=True)
    _insert_tasks(of_fitting, plans, now, is_of_segments=False)


def _step_row(step: Step, minutes: float, is_first: bool) -> tuple:
    return step.operation, step.position, step.method, minutes, step.needs_own_scan, is_first


def _insert_tasks(
    steps: Sequence[tuple], plans: Sequence[LineWork], now: datetime, *, is_of_segments: bool
) -> None:
    if not steps:
        return
    others, defaults = _defaults(Task, _GIVEN)
    piece = "s.id" if is_of_segments else "CAST(NULL AS bigint)"
    pieces = "CROSS JOIN fittings_segment s" if is_of_segments else ""
    joined = "AND s.fitting_id = f.id AND s.position = v.column1" if is_of_segments else ""
    first, last = plans[0].numbers[0], plans[0].numbers[-1]
    moment = "CAST(%s AS timestamptz)" if connection.vendor == "postgresql" else "%s"
    values = ", ".join([_STEP[connection.vendor]] * len(steps))
    sql = (
        f"INSERT INTO travelers_task ({', '.join((*_GIVEN, *others))}) "
        f"SELECT f.id, {piece}, v.column2, v.column3, v.column4, v.column5, v.column6,"
        f" CASE WHEN v.column7 THEN '{TaskState.READY}' ELSE '{TaskState.WAITING}' END,"
        f" CASE WHEN v.column7 THEN {moment} END{''.join(', %s' for _ in others)}"
        f" FROM fittings_fitting f {pieces} CROSS JOIN (VALUES {values}) AS v"
        f" WHERE f.line_id IN {rows.places(len(plans))} AND f.number BETWEEN %s AND %s {joined}"
        " ORDER BY f.id, v.column1, v.column3"
    )
    flat = [value for step in steps for value in step]
    params = [rows.stored(now), *defaults, *flat, *(plan.line.pk for plan in plans), first, last]
    rows.execute(sql, params)


# -- any table ----------------------------------------------------------------


def _defaults(model, given: Collection[str]) -> tuple[list[str], list[Any]]:
    """The columns that are not given, and the stored values of their fields' defaults."""
    fields = [
        field for field in model._meta.concrete_fields if not field.primary_key and field.column not in given
    ]
    values = [field.get_db_prep_save(field.get_default(), connection) for field in fields]
    return [field.column for field in fields], values


def insert_rows(model, columns: tuple[str, ...], new: Sequence[tuple]) -> None:
    others, defaults = _defaults(model, columns)
    one = rows.places(len(columns) + len(others))
    sql = f"INSERT INTO {model._meta.db_table} ({', '.join((*columns, *others))}) VALUES "
    for part in in_portions(new, ROWS_TOGETHER):
        rows.execute(
            sql + ", ".join([one] * len(part)), [value for row in part for value in (*row, *defaults)]
        )
