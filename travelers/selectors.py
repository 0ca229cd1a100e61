"""What there is to see: the record, fittings whole, where each piece sits, what is next at a station. Only reads."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db.models import F, Q, QuerySet

from fittings.models import Fitting, Order, OrderLine, PieceState, Segment
from shared.codes import CodeNotUnderstood, read_code
from shared.problems import FieldError, NotFound, WrongInput
from travelers.models import OPEN_STATES, Pulse, Scan, Task, TaskState, Traveler
from travelers.sentences import operation_word

MOST_SCANS = 500
MOST_WHERE = 400


# -- the record -------------------------------------------------------------


def record_page(query: Mapping[str, str]) -> dict[str, Any]:
    """Scans after `since`, oldest first. Sequences have no gaps, so the count needs no counting."""
    since = _whole(query, "since", 0, 0, 2**62)
    size = _whole(query, "page_size", 100, 1, MOST_SCANS)
    rows = list(
        Scan.objects.filter(sequence__gt=since)
        .order_by("sequence")[:size]
        .values(
            "sequence",
            "scan_id",
            "code",
            "action",
            "count",
            "badge",
            "reason",
            "undoes",
            "station",
            "operation",
            "scanned_at",
            "received_at",
            "is_time_doubtful",
            "outcome",
            "reason_code",
            "message",
            "changed",
        )
    )
    for row in rows:
        row["id"] = row.pop("scan_id")
    last = Pulse.objects.values_list("sequence", flat=True).get(pk=1)
    end = rows[-1]["sequence"] if rows else since
    return {
        "count": max(last - since, len(rows)),
        "next": f"/api/v1/scans/?since={end}&page_size={size}" if rows and end < last else None,
        "previous": None,
        "results": rows,
    }


def _whole(query: Mapping[str, str], name: str, default: int, low: int, high: int) -> int:
    text = query.get(name, "")
    if text == "":
        return default
    try:
        value = int(text[:20])
    except ValueError:
        value = low - 1
    if not low <= value <= high:
        limit = f"a whole number from {low} to {high}"
        raise WrongInput([FieldError(name, text, limit, f"{name} is {text[:20]}; it can be {limit}.")])
    return value


# -- where a fitting is ------------------------------------------------------


def where_text(tasks: Iterable[Mapping[str, Any]]) -> tuple[str, dict[str, int], datetime | None]:
    """Where the pieces of one fitting sit, in words; how many are at each operation; and since when.

    tasks    rows with operation, state, segment_id, step, ready_at of one fitting, void ones left out
    returns  ("3 gores at roll, 2 waiting at seam", {"roll": 3, "seam": 2}, the oldest time)
    """
    groups: dict[int | None, list] = defaultdict(list)
    for task in sorted(tasks, key=lambda task: task["step"]):
        groups[task["segment_id"]].append(task)
    whole = groups.pop(None, [])
    here: Counter = Counter()
    held: Counter = Counter()
    running: Counter = Counter()
    since: list[datetime] = []
    for own in groups.values():
        at = next((task for task in own if task["state"] != TaskState.DONE), None)
        if at:
            here[at["operation"]] += 1
            held[at["operation"]] += at["state"] == TaskState.HELD
            running[at["operation"]] += at["state"] == TaskState.RUNNING
            since += [at["ready_at"]] if at["ready_at"] else []
        elif whole:
            here[whole[0]["operation"]] += 1
            since += [own[-1]["finished_at"]] if own and own[-1].get("finished_at") else []
    if not sum(count for operation, count in here.items() if not whole or operation != whole[0]["operation"]):
        at = next((task for task in whole if task["state"] != TaskState.DONE), None)
        if at is None:
            return (
                "Finished",
                {},
                max((t["finished_at"] for t in whole if t.get("finished_at")), default=None),
            )
        state = {TaskState.HELD: "on hold at", TaskState.RUNNING: "running at"}.get(at["state"], "ready at")
        return f"Fitting {state} {at['operation']}", {at["operation"]: max(1, len(groups))}, at["ready_at"]
    parts = []
    for number, (operation, count) in enumerate(here.items()):
        word = (("gore" if count == 1 else "gores") + " ") if number == 0 else ""
        waits = "waiting at" if whole and operation == whole[0]["operation"] else "at"
        text = f"{count} {word}{waits} {operation}"
        if held[operation]:
            text += f" ({held[operation]} on hold)"
        elif running[operation]:
            text += f" ({running[operation]} running)"
        parts.append(text)
    return ", ".join(parts), dict(here), min(since, default=None)


_TASK = (
    "id",
    "fitting_id",
    "segment_id",
    "operation_id",
    "step",
    "method",
    "state",
    "is_implied",
    "station",
    "badge",
    "reason",
    "ready_at",
    "started_at",
    "finished_at",
)


def tasks_of(fitting_ids: Sequence[int]) -> dict[int, list[dict[str, Any]]]:
    """The tasks of fittings in flow order, void ones too. One query."""
    found: dict[int, list] = defaultdict(list)
    for row in Task.objects.filter(fitting_id__in=fitting_ids).order_by("step", "id").values(*_TASK):
        row["operation"] = row.pop("operation_id")
        found[row["fitting_id"]].append(row)
    return found


def _is_live(task: Mapping[str, Any]) -> bool:
    return task["state"] != TaskState.VOID


def fitting_where(
    fitting_state: str, tasks: Iterable[Mapping[str, Any]], gone: Iterable[int] = ()
) -> dict[str, Any]:
    """`where` of a fitting as the contract shows it. `gone`: its scrapped segments."""
    gone = set(gone)
    if fitting_state == PieceState.VOID:
        return {"text": "Void", "operations": {}, "since": None}
    live = [task for task in tasks if _is_live(task) and task["segment_id"] not in gone]
    text, operations, since = where_text(live)
    return {"text": text, "operations": operations, "since": since}


def fitting_detail(code: str) -> dict[str, Any]:
    """One fitting, whole, by its code. raises NotFound"""
    fitting = _fittings().filter(code=_code(code)).first()
    if fitting is None:
        raise NotFound(f"There is no fitting {code[:20]}.")
    tasks = tasks_of([fitting.pk])[fitting.pk]
    segments = list(
        Segment.objects.filter(fitting=fitting)
        .order_by("position", "generation")
        .values("id", "code", "position", "role", "generation", "state", "pattern")
    )
    by_segment: dict[int | None, list] = defaultdict(list)
    for task in tasks:
        by_segment[task["segment_id"]].append(_task_answer(task))
    gone = [segment["id"] for segment in segments if segment["state"] == PieceState.SCRAPPED]
    return {
        **_head(fitting),
        "dimensions": fitting.line.development["dimensions"],
        "where": fitting_where(fitting.state, tasks, gone),
        "segments": [
            {
                **{name: value for name, value in segment.items() if name != "id"},
                "tasks": by_segment[segment["id"]],
            }
            for segment in segments
        ],
        "tasks": by_segment[None],
    }


def _task_answer(task: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "operation": task["operation"],
        "method": task["method"],
        "state": task["state"],
        "implied": task["is_implied"],
        "station": task["station"] or None,
        "badge": task["badge"] or None,
        "reason": task["reason"],
        "ready_at": task["ready_at"],
        "started_at": task["started_at"],
        "finished_at": task["finished_at"],
    }


def _head(fitting: Fitting) -> dict[str, Any]:
    return {
        "code": fitting.code,
        "order": fitting.order.number,
        "line": fitting.line.position,
        "number": fitting.number,
        "tag": fitting.line.tag,
        "kind": fitting.line.kind,
        "material": fitting.line.material,
        "gauge": fitting.line.gauge,
        "state": fitting.state,
        "traveler": fitting.traveler_code,
        "customer": fitting.order.customer.name,
        "due": fitting.order.due_on,
    }


def _fittings() -> QuerySet[Fitting]:
    return Fitting.objects.select_related("order__customer", "line")


def fitting_list(query: Mapping[str, str]) -> QuerySet[Fitting]:
    """Fittings by order, operation (where a task of theirs is open and not waiting), state, and text; newest last."""
    found = _fittings().order_by("id")
    if query.get("order"):
        found = found.filter(order__number=query["order"][:30])
    if query.get("state"):
        if query["state"] not in PieceState.values:
            limit = ", ".join(PieceState.values)
            message = f"state is {query['state'][:20]}; it can be {limit}."
            raise WrongInput([FieldError("state", query["state"][:20], limit, message)])
        found = found.filter(state=query["state"])
    if query.get("operation"):
        at = Task.objects.filter(
            operation_id=query["operation"][:20], state__in=("ready", "running", "held")
        ).values("fitting_id")
        found = found.filter(pk__in=at)
    if query.get("q"):
        text = query["q"][:60].strip()
        match = Q(line__tag__icontains=text) | Q(order__number__icontains=text)
        match |= Q(order__customer__name__icontains=text)
        code = _code(text)
        match |= Q(code=code) | Q(traveler_code=code)
        found = found.filter(match)
    return found


def fitting_rows(fittings: Sequence[Fitting]) -> list[dict[str, Any]]:
    """Rows of a list of fittings, with where each is. Two more queries however many they are."""
    ids = [fitting.pk for fitting in fittings]
    tasks = tasks_of(ids)
    gone: dict[int, list[int]] = defaultdict(list)
    for fitting_id, segment in Segment.objects.filter(
        fitting_id__in=ids, state=PieceState.SCRAPPED
    ).values_list("fitting_id", "id"):
        gone[fitting_id].append(segment)
    return [
        {**_head(fitting), "where": fitting_where(fitting.state, tasks[fitting.pk], gone[fitting.pk])}
        for fitting in fittings
    ]


# -- where -------------------------------------------------------------------


def _code(text: str) -> str:
    try:
        return read_code(text)
    except CodeNotUnderstood:
        return text.strip().upper()[:20]


@dataclass(frozen=True)
class Found:
    """What a question for a place found: what the text was, and the fittings concerned."""

    what: str
    fittings: QuerySet[Fitting]
    segment_code: str = ""


def where_find(q: str) -> Found:
    """What a text stands for: any code, an order number, a tag, or a purchase order. raises NotFound"""
    text = q.strip()[:60]
    if not text:
        raise WrongInput(
            [
                FieldError(
                    "q", q, "an order number, a tag or a code", "Enter an order number, a tag or a code."
                )
            ]
        )
    fittings = _fittings().order_by("order__due_on", "order_id", "line__position", "number")
    code = _code(text)
    segment = Segment.objects.filter(code=code).values_list("fitting_id", "position").first()
    if segment:
        return Found(f"Segment {code}, position {segment[1]}", fittings.filter(pk=segment[0]), code)
    for what, match in (
        (f"Fitting {code}", Q(code=code)),
        (f"Traveler {code}", Q(traveler_code=code)),
        (f"Order {text}", Q(order__number__iexact=text)),
        (f"Tag {text}", Q(line__tag__iexact=text)),
        (f"Purchase order {text}", Q(order__purchase_order__iexact=text)),
        (f"Tags with {text}", Q(line__tag__icontains=text)),
    ):
        found = fittings.filter(match)
        if found.exists():
            return Found(what, found)
    draft = Order.objects.filter(number__iexact=text).values_list("number", "state").first()
    if draft:
        return Found(f"Order {draft[0]} ({draft[1]}, not on the floor)", fittings.none())
    raise NotFound(f"Nothing has the order number, tag or code “{text}”. Look at the label and try again.")


def where(q: str, limit: int = MOST_WHERE) -> dict[str, Any]:
    """Where each piece sits, since when, and what it waits for. A constant number of queries."""
    found = where_find(q)
    fittings = list(found.fittings[: limit + 1])
    more = len(fittings) > limit
    fittings = fittings[:limit]
    tasks = tasks_of([fitting.pk for fitting in fittings])
    segments: dict[int, list] = defaultdict(list)
    for segment in (
        Segment.objects.filter(fitting__in=fittings)
        .exclude(state=PieceState.VOID)
        .order_by("position", "generation")
    ):
        segments[segment.fitting_id].append(segment)
    return {
        "query": q.strip()[:60],
        "found": found.what,
        "more": more,
        "results": [_where_row(one, tasks[one.pk], segments[one.pk], found.segment_code) for one in fittings],
    }


def _where_row(fitting: Fitting, tasks: list, segments: list[Segment], asked: str) -> dict[str, Any]:
    gone = [segment.pk for segment in segments if segment.state == PieceState.SCRAPPED]
    by_segment: dict[int | None, list] = defaultdict(list)
    for task in tasks:
        by_segment[task["segment_id"]].append(task)
    whole = next((task for task in by_segment[None] if task["state"] in OPEN_STATES), None)
    pieces = [
        {
            "code": segment.code,
            "position": segment.position,
            "role": segment.role,
            "generation": segment.generation,
            "state": segment.state,
            "asked": segment.code == asked,
            **_piece_place(segment.state, by_segment[segment.pk], whole),
        }
        for segment in segments
    ]
    return {
        **_head(fitting),
        "where": fitting_where(fitting.state, tasks, gone),
        "waits_for": _waits_for(whole, pieces),
        "segments": pieces,
    }


def _piece_place(state: str, tasks: list, whole: Mapping[str, Any] | None) -> dict[str, Any]:
    """Where one segment is: the first of its tasks that is not done, then where its fitting is."""
    if state == PieceState.SCRAPPED:
        return {"operation": None, "task_state": "scrapped", "since": None, "reason": ""}
    at = next((task for task in tasks if task["state"] in OPEN_STATES), None) or whole
    if at is None:
        return {"operation": None, "task_state": "done", "since": None, "reason": ""}
    since = at["started_at"] if at["state"] == TaskState.RUNNING else at["ready_at"]
    if since is None and tasks:
        since = tasks[-1]["finished_at"]
    return {"operation": at["operation"], "task_state": at["state"], "since": since, "reason": at["reason"]}


def _waits_for(whole: Mapping[str, Any] | None, pieces: Sequence[Mapping[str, Any]]) -> str:
    """In words, what a fitting waits for: the pieces that its next whole operation lacks."""
    if whole is None:
        return ""
    if whole["state"] == TaskState.HELD:
        return f"A decision: on hold at {whole['operation']}" + (
            f" ({whole['reason']})" if whole["reason"] else ""
        )
    if whole["state"] != TaskState.WAITING:
        return ""
    missing = [
        piece
        for piece in pieces
        if piece["state"] == PieceState.OPEN and piece["operation"] != whole["operation"]
    ]
    if not missing:
        return ""
    here: dict[str, list[str]] = defaultdict(list)
    for piece in missing:
        here[piece["operation"]].append(str(piece["position"]))
    parts = [f"{', '.join(positions)} from {operation}" for operation, positions in here.items()]
    return f"{operation_word(whole['operation'])} waits for pieces {'; '.join(parts)}"


# -- at a station ------------------------------------------------------------


@dataclass(frozen=True)
class QueueRow:
    """One piece that is next at a station. `segment` is None where the whole fitting is worked on."""

    task: int
    code: str
    operation: str
    method: str
    state: str
    reason: str
    order: str
    tag: str
    due: date | None
    priority: int
    line: int
    line_id: int
    fitting: int
    position: int | None
    of: int
    kind: str
    material: str
    gauge: int
    size_in: float | None
    ready_at: datetime | None
    minutes: float


@dataclass(frozen=True)
class Limits:
    """What a station can take; None is no limit. A heavier gauge has a smaller number."""

    gauge_lightest: int | None = None
    gauge_heaviest: int | None = None
    diameter_least_in: float | None = None
    diameter_most_in: float | None = None


def queue_at(operations: Sequence[str], *, limits: Limits | None = None, limit: int = 20) -> list[QueueRow]:
    """What is next at a station: running and held first shown with ready, by due date, priority, then the oldest."""
    limits = limits or Limits()
    query = Task.objects.filter(
        operation_id__in=operations, state__in=(TaskState.READY, TaskState.RUNNING, TaskState.HELD)
    )
    if limits.gauge_lightest is not None:
        query = query.filter(fitting__line__gauge__lte=limits.gauge_lightest)
    if limits.gauge_heaviest is not None:
        query = query.filter(fitting__line__gauge__gte=limits.gauge_heaviest)
    for side, bound in (("gte", limits.diameter_least_in), ("lte", limits.diameter_most_in)):
        if bound is not None:
            query = query.filter(**{f"fitting__line__params__diameter__{side}": bound})
    rows = query.order_by(
        F("fitting__order__due_on").asc(nulls_last=True), "fitting__order__priority", "ready_at", "id"
    )[:limit]
    return [
        QueueRow(
            task=task.pk,
            code=task.segment.code if task.segment else task.fitting.code,
            operation=task.operation_id,
            method=task.method,
            state=task.state,
            reason=task.reason,
            order=task.fitting.order.number,
            tag=task.fitting.line.tag,
            due=task.fitting.order.due_on,
            priority=task.fitting.order.priority,
            line=task.fitting.line.position,
            line_id=task.fitting.line_id,
            fitting=task.fitting.number,
            position=task.segment.position if task.segment else None,
            of=len(task.fitting.line.development["segments"]),
            kind=task.fitting.line.kind,
            material=task.fitting.line.material,
            gauge=task.fitting.line.gauge,
            size_in=task.fitting.line.development["dimensions"].get("diameter"),
            ready_at=task.ready_at,
            minutes=task.minutes,
        )
        for task in rows.select_related("segment", "fitting__order", "fitting__line")
    ]


@dataclass(frozen=True)
class PieceHere:
    """A scanned or chosen piece with what a station needs to know: the frozen development and how far its kit is."""

    code: str
    what: str
    order: str
    customer: str
    tag: str
    due: date | None
    line: int
    quantity: int
    kind: str
    material: str
    gauge: int
    end_a: str
    end_b: str
    position: int | None
    fitting_code: str
    fitting_number: int
    state: str
    development: Mapping[str, Any]
    operation: str
    method: str
    task_state: str
    reason: str
    where: str
    kit: tuple[tuple[int, str, str, str], ...]


def piece_at(code: str, operations: Sequence[str]) -> PieceHere:
    """The piece of a code as a station sees it; `kit` has (position, code, operation, state). raises NotFound"""
    found = where_find_piece(code)
    fitting: Fitting = found.fittings.select_related("order__customer", "line").order_by("number").first()
    tasks = tasks_of([fitting.pk])[fitting.pk]
    segments = list(
        Segment.objects.filter(fitting=fitting)
        .exclude(state__in=(PieceState.VOID, PieceState.SCRAPPED))
        .order_by("position")
    )
    segment = Segment.objects.filter(code=found.segment_code).first() if found.segment_code else None
    own = [
        task
        for task in tasks
        if task["operation"] in operations
        and task["segment_id"] in ((segment.pk, None) if segment else (None, *(one.pk for one in segments)))
    ]
    task = next((task for task in own if task["state"] in OPEN_STATES), own[-1] if own else None)
    whole = next((one for one in tasks if one["segment_id"] is None and one["state"] in OPEN_STATES), None)
    kit = []
    for one in segments:
        place = _piece_place(one.state, [task for task in tasks if task["segment_id"] == one.pk], whole)
        kit.append((one.position, one.code, place["operation"] or "", place["task_state"]))
    line: OrderLine = fitting.line
    return PieceHere(
        code=_code(code),
        what=found.what,
        order=fitting.order.number,
        customer=fitting.order.customer.name,
        tag=line.tag,
        due=fitting.order.due_on,
        line=line.position,
        quantity=line.quantity,
        kind=line.kind,
        material=line.material,
        gauge=line.gauge,
        end_a=line.end_a,
        end_b=line.end_b,
        position=segment.position if segment else None,
        fitting_code=fitting.code,
        fitting_number=fitting.number,
        state=segment.state if segment else fitting.state,
        development=line.development,
        operation=task["operation"] if task else "",
        method=task["method"] if task else "",
        task_state=task["state"] if task else "",
        reason=task["reason"] if task else "",
        where=fitting_where(fitting.state, tasks)["text"],
        kit=tuple(kit),
    )


def where_find_piece(code: str) -> Found:
    """The fittings of a scanned code: a segment's, a fitting's, a traveler's. raises NotFound"""
    wanted = _code(code)
    segment = Segment.objects.filter(code=wanted).values_list("fitting_id", flat=True).first()
    if segment:
        return Found("segment", Fitting.objects.filter(pk=segment), wanted)
    for what, match in (("fitting", Q(code=wanted)), ("lot", Q(traveler_code=wanted))):
        found = Fitting.objects.filter(match)
        if found.exists():
            return Found(what, found)
    if Traveler.objects.filter(code=wanted).exists():
        raise NotFound(f"Traveler {wanted} is void.")
    raise NotFound(f"No piece has the code {code[:20]}.")
