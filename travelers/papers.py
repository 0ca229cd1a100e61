"""The papers of an order: rows from the database to the plain data of `travelers.documents`, and PDF bytes back."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from django.db import transaction
from django.db.models import Count, F, QuerySet
from django.utils import timezone

from fittings import tables
from fittings.drawing import fitting_text, positions_text
from fittings.models import Fitting, Order, OrderLine, PieceState, Segment
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.turn import write_turn
from travelers import documents
from travelers.documents.data import (
    CautionRow,
    LabelFormat,
    LabelItem,
    PackingList,
    PackingRow,
    PieceRow,
    StepRow,
    TravelerSheet,
)
from travelers.forms import ends_of, finishes_of
from travelers.kept_papers import from_stock, from_stock_text
from travelers.letterhead import shop_head
from travelers.models import Operation, Task, Traveler

LABEL_OPTIONS = ("format_name", "start_at")
LABEL_FIELDS = (
    "name",
    "page_width_in",
    "page_height_in",
    "columns",
    "rows",
    "width_in",
    "height_in",
    "left_in",
    "top_in",
    "pitch_x_in",
    "pitch_y_in",
)


# -- travelers ---------------------------------------------------------------


def travelers(*, number: str, actor: Actor, now: datetime) -> bytes:
    """The travelers of a released order as PDF; each print is counted, and a second one says that it is a reprint."""
    order = released_order(number)
    with write_turn(), transaction.atomic():
        travelers_counted(order, now=now)
    return travelers_content(order, now=now)


def travelers_counted(order: Order, *, now: datetime) -> None:
    """They are printed once more. In the caller's transaction, in one statement: scans write meanwhile."""
    _travelers_of(order).update(prints=F("prints") + 1, printed_at=now)


def _travelers_of(order: Order) -> QuerySet[Traveler]:
    return Traveler.objects.filter(line__order=order, void_at=None)


def travelers_content(
    order: Order, *, now: datetime, told: Callable[[int, int], object] = lambda done, of: None
) -> bytes:
    """The PDF. `told` hears how many of how many are drawn."""
    rows = list(_travelers_of(order).select_related("line").order_by("line__position", "first_number"))
    sheets = traveler_sheets(order, rows)
    return documents.travelers_pdf(
        sheets,
        shop=shop_head(),
        printed_at_text=printed_text(now),
        told=lambda done: told(done, len(sheets)),
    )


def traveler_sheets(order: Order, rows: Iterable[Traveler]) -> list[TravelerSheet]:
    """The data of an order's travelers. A constant number of queries."""
    rows = list(rows)
    pieces = _pieces(order)
    steps = _steps(order)
    of_stock = from_stock(order)
    sheets = []
    for row in rows:
        line = row.line
        line.order = order
        ends = {row["name"]: row["title"] for row in tables.rows("ends", line.tables_used.get("ends"))}
        cautions = tables.rows("cautions", line.tables_used.get("cautions"))
        own = [piece for piece in pieces[line.pk] if row.first_number <= piece.number <= row.last_number]
        sheets.append(
            TravelerSheet(
                code=row.code,
                order_number=order.number,
                customer=order.customer.name,
                line=line.position,
                line_quantity=max(line.quantity, pieces[line.pk][-1].number if pieces[line.pk] else 0),
                first_number=row.first_number,
                last_number=row.last_number,
                material=line.material,
                gauge=line.gauge,
                development=line.development,
                tag=line.tag,
                purchase_order=order.purchase_order,
                due_on=order.due_on,
                priority=order.priority,
                ends=[
                    (letter.upper(), ends.get(finish, finish))
                    for letter, finish in finishes_of(line, ends_of(line.development)).items()
                ],
                steps=[step.row for step in steps[line.pk]],
                cautions=_cautions(cautions, steps[line.pk], line.material),
                pieces=own,
                from_stock=from_stock_text(
                    one for one in of_stock[line.pk] if row.first_number <= one[0] <= row.last_number
                ),
                notes=order.notes,
                reprint=max(0, row.prints - 1),
                tables=_tables_text(order, line),
            )
        )
    return sheets


def _pieces(order: Order) -> dict[int, list[PieceRow]]:
    """By line: the fittings with their segments' codes."""
    segments: dict[int, list[tuple[int, str]]] = defaultdict(list)
    for fitting_id, position, code in (
        Segment.objects.filter(fitting__order=order)
        .exclude(state__in=(PieceState.SCRAPPED, PieceState.VOID))
        .order_by("position", "generation")
        .values_list("fitting_id", "position", "code")
    ):
        segments[fitting_id].append((position, code))
    found: dict[int, list[PieceRow]] = defaultdict(list)
    for pk, line_id, number, code in (
        Fitting.objects.filter(order=order, taken_out_at=None)
        .order_by("number")
        .values_list("pk", "line_id", "number", "code")
    ):
        found[line_id].append(PieceRow(number, code, tuple(segments[pk])))
    return found


@dataclass
class _Step:
    """One operation of a line: by method the positions of the segments that it is for, and minutes of one fitting."""

    operation: str
    name: str
    pieces: int
    methods: dict[str, list[int]] = field(default_factory=dict)
    minutes: float = 0.0

    @property
    def row(self) -> StepRow:
        positions = sorted(position for found in self.methods.values() for position in found)
        each = "segment" if positions else "fitting"
        method = next(iter(self.methods))
        if len(self.methods) > 1:
            method = "; ".join(
                f"{one}: {positions_text(tuple(found))}" for one, found in self.methods.items()
            )
        some = tuple(positions) if len(positions) < self.pieces else ()
        return StepRow(self.operation, self.name, method, each, some, self.minutes)


def _steps(order: Order) -> dict[int, list[_Step]]:
    """By line: its route as the tasks of its first fitting have it."""
    names = dict(Operation.objects.values_list("code", "name"))
    first = Fitting.objects.filter(order=order, number=1)
    line_of = dict(first.values_list("pk", "line_id"))
    pieces = dict(first.values_list("pk").annotate(n=Count("segments__position", distinct=True)))
    found: dict[int, dict[str, _Step]] = defaultdict(dict)
    for fitting_id, operation, method, minutes, position in (
        Task.objects.filter(fitting_id__in=line_of)
        .exclude(segment__generation__gt=1)
        .order_by("step", "segment__position", "id")
        .values_list("fitting_id", "operation_id", "method", "minutes", "segment__position")
    ):
        steps = found[line_of[fitting_id]]
        step = steps.setdefault(
            operation, _Step(operation, names.get(operation, operation), pieces[fitting_id])
        )
        step.minutes += minutes
        step.methods.setdefault(method, []).extend([] if position is None else [position])
    return {line_id: list(steps.values()) for line_id, steps in found.items()}


def _cautions(rows: Iterable[Mapping], steps: Iterable[_Step], material: str) -> list[CautionRow]:
    """The cautions of the operations and the metal concerned, in the route's order, each once."""
    found: dict[CautionRow, None] = {}
    for step in steps:
        for row in rows:
            here = row["operation"] == step.operation and row["method"] in ("*", *step.methods)
            if here and row["material"] in ("*", material):
                found[CautionRow(row["operation"], row["word"], row["hazard"], row["text"])] = None
    return list(found)


def _tables_text(order: Order, line: OrderLine) -> str:
    if line.tables:
        return f"Shop tables of version {line.added_version} of the order"
    return (
        f"Shop tables of release {timezone.localtime(order.released_at):%d %b %Y}"
        if order.released_at
        else ""
    )


# -- labels ------------------------------------------------------------------


def label_format(name: str = "") -> LabelFormat:
    """A label format by name; the shop's own where none is named. raises WrongInput"""
    rows = tables.rows("labels")
    wanted = name or _setting("label_format")
    row = next((row for row in rows if row["name"] == wanted), None)
    if row is None and not name:
        row = rows[0]
    if row is None:
        limit = ", ".join(row["name"] for row in rows)
        raise WrongInput(
            [
                FieldError(
                    "format_name",
                    name[:60],
                    limit,
                    f"There is no label format “{name[:60]}”. There are {limit}.",
                )
            ]
        )
    return LabelFormat(**{field: row[field] for field in LABEL_FIELDS})


def labels(*, number: str, query: Mapping[str, str]) -> bytes:
    """Labels of all segments of a released order as PDF, one a segment, or one a plate."""
    return labels_content(released_order(number), query)


def labels_check(query: Mapping[str, str]) -> tuple[LabelFormat, int]:
    """Which sheet of labels is asked for, and its first one that is free. raises WrongInput"""
    fmt = label_format(query.get("format_name", ""))
    return fmt, _start(query.get("start_at", "1"), fmt)


def labels_content(
    order: Order, query: Mapping[str, str], *, told: Callable[[int, int], object] = lambda done, of: None
) -> bytes:
    """The PDF. `told` hears how many of how many are drawn."""
    fmt, start_at = labels_check(query)
    items = label_items(order)
    try:
        return documents.labels_pdf(
            items, fmt, start_at=start_at, shop=shop_head(), told=lambda done: told(done, len(items))
        )
    except documents.LabelTooSmall as error:
        raise WrongInput([FieldError("format_name", fmt.name, "a larger label", error.sentence)]) from None


def _start(text: str, fmt: LabelFormat) -> int:
    start = int(text) if text.isdigit() and len(text) < 6 else 0
    if not 1 <= start <= fmt.per_page:
        limit = f"1 to {fmt.per_page}"
        message = f"start_at is {text[:20]}; on this label sheet it can be {limit}."
        raise WrongInput([FieldError("start_at", text[:20], limit, message)])
    return start


def label_items(order: Order) -> list[LabelItem]:
    """A label for every segment that is to be made, fitting by fitting. Two queries."""
    items = []
    rows = (
        Segment.objects.filter(fitting__order=order, fitting__taken_out_at=None)
        .exclude(state__in=(PieceState.SCRAPPED, PieceState.VOID))
        .select_related("fitting")
        .order_by("fitting__line__position", "fitting__number", "position", "generation")
    )
    lines = {line.pk: line for line in OrderLine.objects.filter(order=order)}
    for segment in rows:
        line = lines[segment.fitting.line_id]
        plates = len(line.development["segments"][segment.position - 1].get("plates") or ())
        for plate in range(1, plates + 1) if plates else (0,):
            items.append(
                LabelItem(
                    code=segment.code,
                    order_number=order.number,
                    line=line.position,
                    line_quantity=max(line.quantity, segment.fitting.number),
                    fitting_number=segment.fitting.number,
                    material=line.material,
                    gauge=line.gauge,
                    development=line.development,
                    position=segment.position,
                    tag=line.tag,
                    customer=order.customer.name,
                    due_on=order.due_on,
                    plate=plate,
                    plates=plates,
                    generation=segment.generation,
                )
            )
    return items


# -- packing list ------------------------------------------------------------


def packing_list(*, number: str, now: datetime) -> bytes:
    """The packing list of a released order as PDF."""
    order = released_order(number)
    mine = order.fittings.filter(taken_out_at=None).order_by()
    counts = dict(mine.values_list("line").annotate(n=Count("pk")))
    rows = [
        PackingRow(
            line=line.position,
            quantity=counts[line.pk],
            description=fitting_text(line.development),
            tag=line.tag,
            material=f"{line.material}, {line.gauge} ga",
            weight_each_lb=line.development["weight"],
        )
        for line in order.all_lines.filter(pk__in=counts).order_by("position", "added_version")
    ]
    data = PackingList(
        order_number=order.number,
        customer=order.customer.name,
        rows=rows,
        purchase_order=order.purchase_order,
        due_on=order.due_on,
        ship_to=order.customer.address,
        notes=order.notes,
    )
    return documents.packing_list_pdf(data, shop=shop_head(), printed_at_text=printed_text(now))


# -- shared ------------------------------------------------------------------


def released_order(number: str) -> Order:
    """raises NotFound; Conflict for a draft"""
    order = Order.objects.select_related("customer").filter(number=number).first()
    if order is None:
        raise NotFound(f"There is no order {number[:30]}.")
    if order.released_at is None:
        raise Conflict(f"Order {order.number} is a draft. Release it, then print.")
    return order


def _setting(key: str) -> str:
    return next((row["value"] for row in tables.rows("shop") if row["key"] == key), "")


def printed_text(now: datetime) -> str:
    local = timezone.localtime(now)
    return f"{local:%a} {local.day} {local:%b %Y, %H:%M}"
