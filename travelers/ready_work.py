"""The open work of operations, read in few queries and in the order of `travelers.next_piece`. Only reads.

Much may be ready at once, and few of it is shown: the work is read as plain rows, and only those of the first days that
are needed are looked at closely.
"""

from __future__ import annotations

import heapq
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import date
from typing import NamedTuple

from django.db.models import QuerySet

from fittings.models import Order, OrderLine
from shared import rows
from shared.portions import in_portions
from travelers.next_piece import RUNNING, Waiting, rank
from travelers.pins import Pinned, pinned_now
from travelers.sheets import CUT

# The condition of the partial index of open tasks stands as a literal; the tasks come first on both databases. COALESCE
# leaves the time as SQLite has it, which sorts as it is: thousands of times are compared, few are shown.
_OPEN = (
    "SELECT f.line_id, {position}, t.state, COALESCE(t.ready_at, NULL), t.id, t.fitting_id, t.segment_id,"
    " CASE WHEN t.state = 'running' THEN t.station END"
    " FROM travelers_task t CROSS JOIN fittings_fitting f{besides}"
    " WHERE t.state IN ('waiting', 'ready', 'running', 'held') AND t.state <> 'waiting'"
    " AND t.operation_id IN {operations} AND f.id = t.fitting_id{but}"
)
_SEGMENT = " LEFT JOIN fittings_segment s ON s.id = t.segment_id"
_NOT_ON_SHEET = (
    f" AND NOT (t.operation_id = '{CUT}' AND EXISTS (SELECT 1 FROM fittings_cutpiece c"
    " JOIN fittings_cutsheet h ON h.id = c.sheet_id JOIN fittings_cutplan p ON p.id = h.plan_id"
    " WHERE c.segment_id = t.segment_id AND c.is_live AND p.state = 'sent'))"
)
_LACKING_ONE = (
    "SELECT fitting_id FROM fittings_segment WHERE fitting_id IN {among} AND state IN ('open', 'done')"
    " GROUP BY fitting_id HAVING COUNT(*) > 1 AND SUM(CASE WHEN state = 'open' THEN 1 ELSE 0 END) = 1"
)
_AT_A_TIME = 5000


class _Line(NamedTuple):
    due: date | None
    priority: int
    is_pinned: bool


class _Group(NamedTuple):
    """Work that differs in its age and its fitting alone. `position` is None where nobody asked for it."""

    line: int
    position: int | None
    state: str


Takes = Callable[[int, int | None], bool]
_READY_AT, _TASK, _FITTING, _SEGMENT_ID, _STATION = range(3, 8)


def work_at(
    operations: Sequence[str],
    *,
    most: int,
    station: str = "",
    lines: QuerySet[OrderLine] | None = None,
    takes: Takes | None = None,
) -> Iterator[list[Waiting]]:
    """What is open at operations and not waiting for a step before it, in parts; each part comes whole before the next.

    The parts follow the order of `next_piece.rank`; within a part nothing is in order yet. Of a part those are left out
    that cannot be among its first `most`.

    station  what was begun at another station than this one is left out
    lines    of which lines; every one on the floor where left out
    takes    whether the segment at a position of a line can be worked on, or the whole fitting (None)
    """
    known = _lines_known(OrderLine.objects.all() if lines is None else lines, pinned_now())
    groups: dict[tuple, list[tuple]] = defaultdict(list)
    for row in _read(operations, has_positions=takes is not None):
        groups[row[:3]].append(row)
    parts: dict[tuple, list[_Group]] = defaultdict(list)
    for group in map(_Group._make, groups):
        if group.line in known:
            line = known[group.line]
            parts[rank(group.state, line.is_pinned, line.due)].append(group)
    for place in sorted(parts):
        taken = {
            group: _begun_at(station, groups[group]) if group.state == RUNNING and station else groups[group]
            for group in parts[place]
            if takes is None or takes(group.line, group.position)
        }
        if any(taken.values()):
            yield _looked_at(taken, known, most)


def _begun_at(station: str, found: Sequence[tuple]) -> list[tuple]:
    return [row for row in found if row[_STATION] == station]


def _lines_known(lines: QuerySet[OrderLine], pinned: Pinned) -> dict[int, _Line]:
    on_the_floor = lines.filter(order__state=Order.State.RELEASED)
    return {
        line: _Line(due, priority, pinned.has(order, line))
        for line, order, due, priority in on_the_floor.values_list(
            "pk", "order_id", "order__due_on", "order__priority"
        )
    }


def _read(operations: Sequence[str], *, has_positions: bool) -> list[tuple]:
    sql = _OPEN.format(
        position="s.position" if has_positions else "NULL",
        besides=_SEGMENT if has_positions else "",
        operations=rows.places(len(operations)),
        but=_NOT_ON_SHEET if CUT in operations else "",
    )
    return rows.select(sql, operations)


def _looked_at(
    groups: Mapping[_Group, Sequence[tuple]], known: Mapping[int, _Line], most: int
) -> list[Waiting]:
    """The oldest of each group, and the last pieces of their fittings: one that waits alone may be one."""
    here = Counter([row[_FITTING] for found in groups.values() for row in found])
    alone = [
        row[_FITTING]
        for found in groups.values()
        for row in found
        if row[_SEGMENT_ID] is not None and here[row[_FITTING]] == 1
    ]
    lacking = _lacking_one(alone)
    waiting = []
    for group, found in groups.items():
        line = known[group.line]
        chosen = found if len(found) <= most else heapq.nsmallest(most, found, key=_age)
        if lacking and len(found) > most:
            chosen = {row[_TASK]: row for row in chosen} | {
                row[_TASK]: row for row in _last(found, lacking, most)
            }
            chosen = chosen.values()
        waiting += [
            Waiting(
                row[_TASK],
                group.state,
                line.due,
                line.priority,
                rows.moment(row[_READY_AT]),
                line.is_pinned,
                row[_SEGMENT_ID] is not None and row[_FITTING] in lacking,
            )
            for row in chosen
        ]
    return waiting


def _last(found: Sequence[tuple], lacking: set[int], most: int) -> list[tuple]:
    last = [row for row in found if row[_FITTING] in lacking and row[_SEGMENT_ID] is not None]
    return heapq.nsmallest(most, last, key=_age)


def _age(row: tuple) -> tuple:
    return (row[_READY_AT] is None, row[_READY_AT], row[_TASK])


def _lacking_one(fittings: Sequence[int]) -> set[int]:
    """Those of several pieces of which one is not done."""
    found: set[int] = set()
    for part in in_portions(fittings, _AT_A_TIME):
        asked = rows.select(_LACKING_ONE.format(among=rows.places(len(part))), part)
        found.update(fitting for (fitting,) in asked)
    return found
