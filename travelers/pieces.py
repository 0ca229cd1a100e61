"""Fittings from the database as the plain data that `travelers.state` folds over, and the state written back.

The scan record, the replay and the remaking of a scrapped segment all read and write through here.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime

from django.db import connection
from django.db.models import F, Subquery

from fittings.events import FITTING_DONE, FITTING_REOPENED, ORDER_DONE, ORDER_REOPENED, event_keep
from fittings.models import Fitting, Order, Segment
from shared import rows
from shared.portions import in_portions
from travelers.kept_codes import became
from travelers.models import Task
from travelers.sheets import SheetHere, pieces_on, sheet_here
from travelers.state import DONE, OPEN, Event, FittingSpec, FittingState, SegmentSpec, TaskSpec, derive

_UPDATE_TASKS = (
    "UPDATE travelers_task SET state = new.column2, is_implied = new.column3, station = new.column4,"
    " badge = new.column5, reason = new.column6, ready_at = new.column7, started_at = new.column8,"
    " finished_at = new.column9 FROM (VALUES {values}) AS new WHERE travelers_task.id = new.column1"
)
_ROW = {
    "sqlite": rows.places(9),
    "postgresql": "(%s::bigint, %s, %s::boolean, %s, %s, %s, %s::timestamptz, %s::timestamptz, %s::timestamptz)",
}
_AT_A_TIME = 500
_STATE, _TAKEN_OUT_AT = 5, 11
_OF_VOID_TRAVELER = (
    "JOIN travelers_traveler t ON t.line_id = f.line_id AND f.number BETWEEN t.first_number AND t.last_number"
    " WHERE t.code = %s AND t.void_at IS NOT NULL"
)


_TASKS = (
    "SELECT t.fitting_id, t.id, t.operation_id, t.step, t.segment_id, t.needs_own_scan, t.state, t.is_implied,"
    " t.station, t.badge, t.reason, t.ready_at, t.started_at, t.finished_at,"
    " t.came_done, s.position, s.generation, s.state, s.role"
    " FROM travelers_task t LEFT JOIN fittings_segment s ON s.id = t.segment_id WHERE t.fitting_id IN {among}"
)
_EVENTS = (
    "SELECT t.fitting_id, t.scan_id, t.segment_id, s.scan_id, s.effective_at, s.action, s.station, s.operations,"
    " s.badge, s.reason, s.undoes, t.plate, t.plates FROM travelers_scantarget t"
    " JOIN travelers_scan s ON s.sequence = t.scan_id WHERE t.fitting_id IN {among}"
)


@dataclass(slots=True)
class Loaded:
    """One fitting with everything that its state follows from, and what is stored of that state."""

    id: int
    code: str
    number: int
    line_id: int
    order_id: int
    state: str
    done_at: object
    spec: FittingSpec
    events: list[Event]
    stored_tasks: dict[int, tuple]
    stored_segments: dict[int, str]
    roles: dict[int, str] = field(default_factory=dict)
    segment_count: int = 0

    @property
    def is_taken_out(self) -> bool:
        """A change took it out of its order."""
        return bool(self.spec.taken_out_as)


Query = tuple[str, Sequence]


@dataclass(frozen=True, slots=True)
class Found:
    """What a scanned code stands for: `kind` is segment, fitting, lot or sheet; blank where it stands for nothing.

    segment  the id, where it is a segment's code
    sheet    where it is a sheet's; the fittings are then those of its pieces, of the ones taken off it too
    void_at  since when a lot's traveler is void; the fittings are then those that it stood for
    """

    kind: str = ""
    loaded: Sequence[Loaded] = ()
    segment: int | None = None
    sheet: SheetHere | None = None
    void_at: datetime | None = None


def find(code: str, at: datetime, also: Query) -> tuple[Found, list[tuple]]:
    """What a scanned code stands for, its fittings locked. A sheet's code is looked for last: the rarest.

    at    the scan's time: a kept piece is from its use on the piece that it became
    also  a query to answer in the same breath, once the lock is held; its rows come last
    """
    found = _heads(
        "JOIN fittings_segment s ON s.fitting_id = f.id WHERE s.code = %s", [code], ", s.id", lock=True
    )
    if found:
        found = _now(found, found[0][-1], at) or found
        loaded, answer = _loaded([row[:-1] for row in found], also)
        return Found("segment", loaded, segment=found[0][-1]), answer
    for kind, where in (("fitting", "WHERE f.code = %s"), ("lot", "WHERE f.traveler_code = %s")):
        found = _heads(where, [code], lock=True)
        if kind == "lot" and any(row[_TAKEN_OUT_AT] for row in found):
            break
        if found:
            if kind == "fitting":
                found = _now(found, None, at) or found
            loaded, answer = _loaded(found, also)
            return Found(kind, loaded), answer
    sheet = sheet_here(code)
    if sheet is None:
        return _void_lot(code, also)
    loaded = load(sorted({piece.fitting for piece in sheet.pieces}), lock=True)
    sheet = replace(
        sheet, pieces=pieces_on(sheet.id)
    )  # one may have been taken off before its fitting was locked
    return Found("sheet", loaded, sheet=sheet), rows.select(*also)


def _now(heads: Sequence[tuple], segment: int | None, at: datetime) -> list[tuple]:
    """The head of what a kept piece became, with the segment's id where one is meant; empty where it became nothing."""
    fitting, state = heads[0][0], heads[0][_STATE]
    now = became(fitting, segment, at) if state != OPEN else None
    if now is None:
        return []
    found = _heads("WHERE f.id = %s", [now.fitting], lock=True)
    return [(*row, now.segment) for row in found] if segment else found


def _void_lot(code: str, also: Query) -> tuple[Found, list[tuple]]:
    """The fittings that a void traveler stood for, those that go with another one now too."""
    found = _heads(_OF_VOID_TRAVELER, [code], ", t.void_at", lock=True)
    if not found:
        return Found(), rows.select(*also)
    loaded, answer = _loaded([row[:-1] for row in found], also)
    return Found("lot", loaded, void_at=rows.moment(found[0][-1])), answer


def load(fitting_ids: Sequence[int], *, lock: bool) -> list[Loaded]:
    """The fittings with tasks, segments and recorded scans, locked in primary-key order if asked."""
    if not fitting_ids:
        return []
    return _loaded(_heads(f"WHERE f.id IN {rows.places(len(fitting_ids))}", fitting_ids, lock=lock))[0]


def plates_cut(fitting_ids: Sequence[int]) -> dict[int, frozenset[int]]:
    """The plates that were finished one by one, by segment: what their sheets' scans say that still stand."""
    found: dict[int, frozenset[int]] = {}
    for one in load(fitting_ids, lock=False):
        plates = derive(one.spec, one.events).plates
        found |= {task.segment: plates[task.id] for task in one.spec.tasks if task.id in plates}
    return found


def _heads(where: str, params: Sequence, also: str = "", *, lock: bool) -> list[tuple]:
    return rows.select(
        "SELECT f.id, f.code, f.number, f.line_id, f.order_id, f.state, f.done_at, o.state, o.released_at,"
        f" o.ended_at, f.added_at, f.taken_out_at, f.taken_out_as{also}"
        f" FROM fittings_fitting f JOIN fittings_order o ON o.id = f.order_id {where} ORDER BY f.id"
        + (" FOR NO KEY UPDATE OF f" if lock and connection.vendor == "postgresql" else ""),
        params,
    )


def _loaded(heads: Sequence[tuple], *also: Query) -> tuple[list[Loaded], list[tuple]]:
    """Heads with their segments, tasks and events. Two queries; a third where a route has no work on segments."""
    fitting_ids = [row[0] for row in heads]
    among = rows.places(len(fitting_ids))
    segments: dict[int, dict[int, tuple]] = {id_: {} for id_ in fitting_ids}
    specs: dict[int, list] = {id_: [] for id_ in fitting_ids}
    stored: dict[int, dict[int, tuple]] = {id_: {} for id_ in fitting_ids}
    task_rows, event_rows, *answers = rows.select_together(
        [(_TASKS.format(among=among), fitting_ids), (_EVENTS.format(among=among), fitting_ids), *also]
    )
    for row in task_rows:
        fitting_id, id_, operation, step, segment, own_scan, state, implied, station, badge, reason = row[:11]
        specs[fitting_id].append(TaskSpec(id_, operation, step, segment, bool(own_scan), bool(row[14])))
        facts = (state, bool(implied), station, badge, reason, *map(rows.moment, row[11:14]))
        stored[fitting_id][id_] = facts
        if segment is not None:
            segments[fitting_id][segment] = row[15:]
    if any(not found for found in segments.values()):
        for fitting_id, segment, *facts in rows.select(
            "SELECT fitting_id, id, position, generation, state, role FROM fittings_segment"
            f" WHERE fitting_id IN {among}",
            fitting_ids,
        ):
            segments[fitting_id][segment] = tuple(facts)
    events = _events(event_rows)
    loaded = []
    for id_, code, number, line_id, order_id, state, done_at, order_state, *moments, taken_out_as in heads:
        released_at, ended_at, added_at, taken_out_at = map(rows.moment, moments)
        mine = segments[id_]
        spec = FittingSpec(
            id_,
            added_at or released_at,
            tuple(
                sorted(
                    (SegmentSpec(segment, facts[0], facts[1]) for segment, facts in mine.items()),
                    key=lambda segment: (segment.position, segment.generation),
                )
            ),
            tuple(specs[id_]),
            voided_at=taken_out_at or (ended_at if order_state == Order.State.CANCELLED else None),
            taken_out_as=taken_out_as,
        )
        loaded.append(
            Loaded(
                id_,
                code,
                number,
                line_id,
                order_id,
                state,
                rows.moment(done_at),
                spec,
                events[id_],
                stored[id_],
                {segment: facts[2] for segment, facts in mine.items()},
                {segment: facts[3] for segment, facts in mine.items()},
                len({facts[0] for facts in mine.values()}),
            )
        )
    return loaded, answers[0] if answers else []


def _events(event_rows: Iterable[tuple]) -> dict[int, list[Event]]:
    """The recorded scans of fittings. A scan's targets within one fitting become one event."""
    groups: dict[tuple[int, int], list] = {}
    for row in event_rows:
        groups.setdefault(row[:2], []).append(row)
    events: dict[int, list[Event]] = defaultdict(list)
    for (fitting_id, sequence), group in groups.items():
        _, _, _, scan_id, at, action, station, operations, badge, reason, undoes, _, _ = group[0]
        events[fitting_id].append(
            Event(
                scan_id,
                sequence,
                rows.moment(at),
                action,
                station,
                tuple(operations.split()),
                badge,
                reason,
                undoes,
                tuple(sorted({row[2] for row in group if row[2] is not None})),
                tuple(sorted((row[2], *row[-2:]) for row in group if row[-2])),
            )
        )
    return events


def differences(
    one: Loaded, state: FittingState
) -> tuple[list[tuple[int, tuple]], list[tuple[int, str]], bool]:
    """What is stored otherwise than derived: tasks (id, facts), segments (id, state), whether the fitting is."""
    tasks = [(id_, new.facts()) for id_, new in state.tasks.items() if one.stored_tasks[id_] != new.facts()]
    segments = [(id_, new) for id_, new in state.segments.items() if one.stored_segments[id_] != new]
    return tasks, segments, (one.state, one.done_at) != (state.fitting, state.done_at)


def store(one: Loaded, state: FittingState, *, at: datetime | None) -> int:
    """Write what differs, in the caller's transaction. Returns the number of tasks changed.

    at  when it came about; the order's count goes with it, and other systems are told. None for the replay, which
        counts orders anew and tells nobody
    """
    tasks, segments, fitting = differences(one, state)
    for part in in_portions(tasks, _AT_A_TIME):
        sql = _UPDATE_TASKS.format(values=", ".join([_ROW[connection.vendor]] * len(part)))
        rows.execute(
            sql, [one for id_, facts in part for one in (id_, *facts[:5], *map(rows.stored, facts[5:]))]
        )
    by_state: dict[str, list[int]] = {}
    for id_, new in segments:
        by_state.setdefault(new, []).append(id_)
    for new, ids in by_state.items():
        Segment.objects.filter(pk__in=ids).update(state=new)
    if fitting:
        Fitting.objects.filter(pk=one.id).update(state=state.fitting, done_at=state.done_at)
        if at is not None and not one.is_taken_out:
            _count(one, state, at)
    return len(tasks)


def _count(one: Loaded, state: FittingState, at: datetime) -> None:
    """Keep the order's count of finished fittings; end the order with its last fitting, or reopen it."""
    change = (state.fitting == DONE) - (one.state == DONE)
    orders = Order.objects.filter(pk=one.order_id)
    if change:
        orders.update(fittings_done=F("fittings_done") + change)
        kind = FITTING_DONE if change > 0 else FITTING_REOPENED
        event_keep(kind=kind, order_id=one.order_id, fitting_id=one.id, at=at)
    if change < 0:
        if orders.filter(state=Order.State.DONE).update(state=Order.State.RELEASED, ended_at=None):
            event_keep(kind=ORDER_REOPENED, order_id=one.order_id, at=at)
    elif state.fitting == DONE:  # the last by its own time, not by its arrival
        mine = Fitting.objects.filter(order=one.order_id, taken_out_at=None)
        last = mine.order_by("-done_at").values("done_at")[:1]
        has_ended = orders.filter(
            state__in=(Order.State.RELEASED, Order.State.DONE), fittings_done=F("fittings_total")
        ).update(state=Order.State.DONE, ended_at=Subquery(last))
        if has_ended and change:
            event_keep(kind=ORDER_DONE, order_id=one.order_id, at=at)


def remake(one: Loaded, segments: Iterable[int], codes: Sequence[str]) -> None:
    """The next generation of scrapped segments, with its tasks, in the caller's transaction."""
    old = list(Segment.objects.filter(pk__in=list(segments)).order_by("pk"))
    new = Segment.objects.bulk_create(
        Segment(
            fitting_id=one.id,
            position=segment.position,
            generation=segment.generation + 1,
            role=segment.role,
            pattern=segment.pattern,
            code=code,
        )
        for segment, code in zip(old, codes, strict=True)
    )
    successor = {segment.pk: made for segment, made in zip(old, new, strict=True)}
    Task.objects.bulk_create(
        Task(
            fitting_id=one.id,
            segment=successor[task.segment_id],
            operation_id=task.operation_id,
            step=task.step,
            method=task.method,
            minutes=task.minutes,
            needs_own_scan=task.needs_own_scan,
        )
        for task in Task.objects.filter(segment_id__in=successor).order_by("segment_id", "step")
    )
