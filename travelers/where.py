"""Where fittings and their pieces are: whole, in lists, and for a question. Only reads."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Q, QuerySet

from fittings.models import CutPiece, Fitting, Order, OrderLine, PieceState, Segment
from shared.codes import CodeNotUnderstood, read_code
from shared.problems import FieldError, NotFound, WrongInput
from shared.words import mark, say
from travelers import replaced
from travelers.kept_codes import kept_found
from travelers.models import OPEN_STATES, Task, TaskState
from travelers.sentences import operation_word, piece_word_of, pieces_said, place_said
from travelers.sheets import sheet_codes, sheet_facts

MOST_WHERE = 400


# -- where a fitting is ------------------------------------------------------


def where_text(
    tasks: Iterable[Mapping[str, Any]], word: str = "piece"
) -> tuple[str, dict[str, int], datetime | None]:
    """Where the pieces of one fitting sit, in words; how many are at each operation; and since when.

    tasks    rows with operation, state, segment_id, step, ready_at of one fitting, void ones left out
    word     what its segments are called
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
                say("Finished"),
                {},
                max((t["finished_at"] for t in whole if t.get("finished_at")), default=None),
            )
        words = {
            TaskState.HELD: mark("Fitting on hold at {operation}"),
            TaskState.RUNNING: mark("Fitting running at {operation}"),
        }.get(at["state"], mark("Fitting ready at {operation}"))
        text = say(words, operation=place_said(at["operation"]))
        return text, {at["operation"]: max(1, len(groups))}, at["ready_at"]
    step = {task["operation"]: task["step"] for own in (*groups.values(), whole) for task in own}
    here = Counter(dict(sorted(here.items(), key=lambda pair: step[pair[0]])))
    parts = []
    for number, (operation, count) in enumerate(here.items()):
        counted = pieces_said(word, count) if number == 0 else str(count)
        waits = whole and operation == whole[0]["operation"]
        words = mark("{count} waiting at {operation}") if waits else mark("{count} at {operation}")
        text = say(words, count=counted, operation=place_said(operation))
        if held[operation]:
            text += say(" ({n} on hold)", n=held[operation])
        elif running[operation]:
            text += say(" ({n} running)", n=running[operation])
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
    fitting: Fitting, tasks: Iterable[Mapping[str, Any]], gone: Iterable[int] = ()
) -> dict[str, Any]:
    """`where` of a fitting with its line, as the contract shows it. `gone`: its scrapped segments."""
    gone = set(gone)
    if fitting.state in (PieceState.VOID, PieceState.SCRAPPED):
        text = say("Void") if fitting.state == PieceState.VOID else say("Scrapped")
        return {"text": text, "operations": {}, "since": None}
    live = [task for task in tasks if _is_live(task) and task["segment_id"] not in gone]
    text, operations, since = where_text(live, piece_word_of(fitting.line.kind))
    if fitting.state == PieceState.DONE and (left := _left(fitting)):
        text, since = left
    return {"text": text, "operations": operations, "since": since}


def _left(fitting: Fitting) -> tuple[str, datetime] | None:
    """Of a finished fitting the delivery that it is on, and since when."""
    on = getattr(fitting, "delivered", None)
    if on is None:
        return None
    delivery = on.delivery
    words = mark("Left with delivery {delivery}") if delivery.received_at else mark("On delivery {delivery}")
    name = f"{fitting.order.number}-{delivery.number}"
    return say(words, delivery=name), delivery.received_at or delivery.made_at


def fitting_detail(code: str) -> dict[str, Any]:
    """One fitting, whole, by its code. raises NotFound"""
    fitting = _fittings().filter(code=code_read(code)).first()
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
    sheets = sheet_codes([fitting.pk])
    return {
        **_head(fitting),
        "dimensions": fitting.line.development["dimensions"],
        "where": fitting_where(fitting, tasks, gone),
        "segments": [
            {
                **{name: value for name, value in segment.items() if name != "id"},
                "sheet": sheets.get(segment["id"]),
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
    return Fitting.objects.select_related("order__customer", "line", "delivered__delivery")


def fitting_list(query: Mapping[str, str]) -> QuerySet[Fitting]:
    """Fittings by order, operation (where a task of theirs is open and not waiting), state, and text; newest last."""
    found = _fittings().defer("line__development").order_by("id")
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
        code = code_read(text)
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
        {**_head(fitting), "where": fitting_where(fitting, tasks[fitting.pk], gone[fitting.pk])}
        for fitting in fittings
    ]


# -- where -------------------------------------------------------------------


def code_read(text: str) -> str:
    try:
        return read_code(text)
    except CodeNotUnderstood:
        return text.strip().upper()[:20]


@dataclass(frozen=True)
class Found:
    """What a question for a place found: what the text was, and the fittings concerned.

    segment_code  where it was a segment's code
    sheet         where it was a sheet's: what `sheet_facts` says of it
    asked         ids of the segments that were asked for
    """

    what: str
    fittings: QuerySet[Fitting]
    segment_code: str = ""
    sheet: Mapping[str, Any] | None = None
    asked: frozenset[int] = frozenset()


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
    fittings = _fittings().defer("line__development")
    fittings = fittings.order_by("order__due_on", "order_id", "line__position", "number")
    code = code_read(text)
    segment = Segment.objects.filter(code=code).values_list("fitting_id", "position", "pk").first()
    if segment:
        fitting, position, asked = segment
        what = f"Segment {code}, position {position}"
        return _found_kept(fitting, asked, what, fittings) or Found(
            what, fittings.filter(pk=fitting), code, asked=frozenset([asked])
        )
    void = replaced.traveler_void(code)
    if void:
        stood_for = Q(line=void.line_id, number__gte=void.first_number, number__lte=void.last_number)
        return Found(replaced.traveler_said(code).rstrip("."), fittings.filter(stood_for))
    fitting = Fitting.objects.filter(code=code).values_list("pk", flat=True).first()
    if fitting:
        what = f"Fitting {code}"
        return _found_kept(fitting, None, what, fittings) or Found(what, fittings.filter(pk=fitting))
    of_traveler = fittings.filter(traveler_code=code)
    if of_traveler.exists():
        return Found(f"Traveler {code}", of_traveler)
    sheet = sheet_facts(code)
    if sheet:
        return _found_sheet(sheet, fittings)
    for what, match in _named(text):
        found = fittings.filter(match)
        if found.exists():
            return Found(what, found)
    draft = Order.objects.filter(number__iexact=text).values_list("number", "state").first()
    if draft:
        return Found(f"Order {draft[0]} ({draft[1]}, not on the floor)", fittings.none())
    raise NotFound(f"Nothing has the order number, tag or code “{text}”. Look at the label and try again.")


def _named(text: str) -> Iterator[tuple[str, Q]]:
    """What a text can name, the likeliest first. Looked for among orders and lines: there are fifty times as many
    fittings."""

    def orders(**match: str) -> Q:
        return Q(order__in=Order.objects.filter(**match).values("pk"))

    def lines(**match: str) -> Q:
        return Q(line__in=OrderLine.objects.filter(**match).values("pk"))

    yield f"Order {text}", orders(number__iexact=text)
    yield f"Tag {text}", lines(tag__iexact=text)
    yield f"Purchase order {text}", orders(purchase_order__iexact=text)
    yield f"Tags with {text}", lines(tag__icontains=text)


def _found_kept(fitting: int, segment: int | None, what: str, fittings: QuerySet[Fitting]) -> Found | None:
    """A piece that is kept, or the one that it became; None of any other."""
    kept = kept_found(fitting, segment, what)
    if kept is None:
        return None
    asked = frozenset([kept.segment] if kept.segment else ())
    return Found(kept.said, fittings.filter(pk=kept.fitting), kept.code if asked else "", asked=asked)


def _found_sheet(sheet: Mapping[str, Any], fittings: QuerySet[Fitting]) -> Found:
    pieces = CutPiece.objects.filter(sheet=sheet["id"], is_live=True)
    here = list(pieces.values_list("segment_id", "segment__fitting_id"))
    return Found(
        f"Sheet {sheet['code']}, {sheet['position']} of {sheet['of']} of cut plan {sheet['plan']}",
        fittings.filter(pk__in={fitting for _, fitting in here}),
        sheet=sheet,
        asked=frozenset(segment for segment, _ in here),
    )


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
    sheets = sheet_codes(one.pk for one in fittings)
    return {
        "query": q.strip()[:60],
        "found": found.what,
        "sheet": found.sheet,
        "more": more,
        "results": [
            _where_row(one, tasks[one.pk], segments[one.pk], found.asked, sheets) for one in fittings
        ],
    }


def _where_row(
    fitting: Fitting,
    tasks: list,
    segments: list[Segment],
    asked: Collection[int],
    sheets: Mapping[int, str],
) -> dict[str, Any]:
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
            "asked": segment.pk in asked,
            "sheet": sheets.get(segment.pk),
            **piece_place(segment.state, by_segment[segment.pk], whole),
        }
        for segment in segments
    ]
    return {
        **_head(fitting),
        "where": fitting_where(fitting, tasks, gone),
        "waits_for": _waits_for(whole, pieces),
        "segments": pieces,
    }


def piece_place(state: str, tasks: list, whole: Mapping[str, Any] | None) -> dict[str, Any]:
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
    noun = "piece" if len(missing) == 1 else "pieces"
    return f"{operation_word(whole['operation'])} waits for {noun} {'; '.join(parts)}"
