"""The sheets that a station has to cut, and one sheet with all that its operator needs to know. Only reads.

Sheets are found from the open tasks of the operation `cut`, so that the cost depends on the work that waits.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db.models import Count, Max, Q

from fittings.cut_sheets import SheetContent, SheetPiece, sheet_contents
from fittings.models import CutPiece, CutPlan, CutSheet
from shared import rows
from shared.problems import NotFound
from travelers.models import Scan, Task, TaskState
from travelers.next_piece import Waiting
from travelers.pieces import plates_cut
from travelers.pins import pinned_now
from travelers.sheets import CUT, sheet_word
from travelers.state import FINISH
from travelers.station_work import Limits
from travelers.where import code_read

# The condition of the partial index of open tasks stands as a literal; the tasks come first on both databases.
_OPEN = (
    "SELECT c.sheet_id, COUNT(*), SUM(CASE WHEN t.state = 'running' THEN 1 ELSE 0 END),"
    " SUM(CASE WHEN t.state = 'held' THEN 1 ELSE 0 END), SUM(CASE WHEN c.plate > 0 THEN 1 ELSE 0 END),"
    " MIN(o.due_on), MIN(o.priority)"
    " FROM travelers_task t CROSS JOIN fittings_cutpiece c CROSS JOIN fittings_fitting f CROSS JOIN fittings_order o"
    " WHERE t.state IN ('waiting', 'ready', 'running', 'held') AND t.state <> 'waiting' AND t.operation_id = %s"
    " AND c.segment_id = t.segment_id AND c.is_live AND c.sheet_id IS NOT NULL"
    " AND f.id = t.fitting_id AND o.id = f.order_id GROUP BY c.sheet_id"
)


@dataclass(frozen=True)
class SheetRow:
    """A sheet on the floor with pieces that are still to be cut. `sheet.plan` is at hand.

    open    pieces to cut, a plate a piece; `running` and `held` of them; `plates` of them are single plates
    live    all pieces on it that were not taken off
    of      sheets of its plan, on `loads` loads of the table
    is_pinned  the supervisor put something of it first
    due     the earliest date of what is to be cut; the highest priority of it
    """

    sheet: CutSheet
    open: int
    running: int
    held: int
    plates: int
    due: date | None
    priority: int
    live: int = 0
    of: int = 0
    loads: int = 0
    is_pinned: bool = False

    @property
    def state(self) -> str:
        if self.running:
            return TaskState.RUNNING
        return TaskState.HELD if self.held == self.open else TaskState.READY

    @property
    def name(self) -> str:
        return sheet_word(self.sheet.position, self.sheet.plan.number)

    @property
    def order(self) -> tuple:
        """What is pinned first, then by the earliest date and priority, then as the plan says."""
        return (
            not self.is_pinned,
            self.due or date.max,
            self.priority,
            self.sheet.plan.number,
            self.sheet.load,
            self.sheet.position,
        )

    @property
    def choice(self) -> Waiting:
        """What `next_piece.reason` says of it."""
        return Waiting(self.sheet.pk, str(self.state), self.due, self.priority, None, self.is_pinned)


def sheets_at(
    operations: Sequence[str], *, limits: Limits | None = None, limit: int = 8
) -> tuple[list[SheetRow], int]:
    """The sheets that are next at a station, and how many there are in all. A constant number of queries."""
    if CUT not in operations:
        return [], 0
    limits = limits or Limits()
    counted = {row[0]: row[1:] for row in rows.select(_OPEN, [CUT])}
    if not counted:
        return [], 0
    sheets = CutSheet.objects.filter(pk__in=counted, plan__state=CutPlan.State.SENT)
    if limits.gauge_lightest is not None:
        sheets = sheets.filter(plan__gauge__lte=limits.gauge_lightest)
    if limits.gauge_heaviest is not None:
        sheets = sheets.filter(plan__gauge__gte=limits.gauge_heaviest)
    found = [_row(sheet, *counted[sheet.pk]) for sheet in sheets.select_related("plan")]
    found = sorted(_with_pins(_without_cut_plates(found)), key=lambda row: row.order)
    return _with_totals(found[:limit]), len(found)


def _row(sheet: CutSheet, open_: int, running: int, held: int, plates: int, due, priority: int) -> SheetRow:
    due = (
        date.fromisoformat(due) if isinstance(due, str) else due.date() if isinstance(due, datetime) else due
    )
    return SheetRow(sheet, int(open_), int(running), int(held), int(plates), due, priority)


def _with_pins(found: list[SheetRow]) -> list[SheetRow]:
    """One query more where anything is pinned."""
    pinned = pinned_now()
    if not pinned:
        return found
    pieces = CutPiece.objects.filter(
        Q(segment__fitting__order__in=pinned.orders) | Q(segment__fitting__line__in=pinned.lines),
        sheet__in=[row.sheet.pk for row in found],
        is_live=True,
        segment__tasks__operation=CUT,
        segment__tasks__state__in=(TaskState.READY, TaskState.RUNNING, TaskState.HELD),
    )
    first = set(pieces.values_list("sheet_id", flat=True))
    return [replace(row, is_pinned=row.sheet.pk in first) for row in found]


def _without_cut_plates(found: list[SheetRow]) -> list[SheetRow]:
    """Plates whose own sheet was cut while their segment waits for others do not count; only the record tells them."""
    plated = {row.sheet.code: row for row in found if row.plates}
    if not plated:
        return found
    finished = Scan.objects.filter(code__in=plated, action=FINISH, outcome=Scan.Outcome.RECORDED)
    begun = {plated[code].sheet.pk for code in finished.values_list("code", flat=True)}
    if not begun:
        return found
    cut = _cut_on(begun)
    rest = (replace(row, open=row.open - cut[row.sheet.pk]) for row in found)
    return [row for row in rest if row.open > 0]


def _cut_on(sheets: Collection[int]) -> dict[int, int]:
    """How many plates of segments that are not finished are cut, by sheet."""
    places = list(
        CutPiece.objects.filter(
            sheet__in=sheets,
            is_live=True,
            plate__gt=0,
            segment__tasks__operation=CUT,
            segment__tasks__state__in=(TaskState.READY, TaskState.RUNNING, TaskState.HELD),
        ).values_list("sheet_id", "segment_id", "plate", "segment__fitting_id")
    )
    done = plates_cut(sorted({fitting for *_, fitting in places}))
    found: dict[int, int] = defaultdict(int)
    for sheet, segment, plate, _ in places:
        found[sheet] += plate in done.get(segment, ())
    return found


def _with_totals(found: Iterable[SheetRow]) -> list[SheetRow]:
    found = list(found)
    live = dict(
        CutPiece.objects.filter(sheet__in=[row.sheet.pk for row in found], is_live=True)
        .values_list("sheet_id")
        .annotate(Count("pk"))
        .order_by()
    )
    plans = {
        plan: (sheets, loads)
        for plan, sheets, loads in CutSheet.objects.filter(plan__in={row.sheet.plan_id for row in found})
        .values_list("plan_id")
        .annotate(Count("pk"), Max("load"))
        .order_by()
    }
    return [
        replace(
            row,
            live=live.get(row.sheet.pk, 0),
            of=plans[row.sheet.plan_id][0],
            loads=plans[row.sheet.plan_id][1],
        )
        for row in found
    ]


# -- one sheet -----------------------------------------------------------------


@dataclass(frozen=True)
class PieceOnSheet:
    """A piece in the order of the table, the front first. `state` is of its cut: done, held, running, ready, void."""

    piece: SheetPiece
    state: str


@dataclass(frozen=True)
class SheetAt:
    """A sheet as the station sees it. What was taken off it is in the drawing, and not among the pieces."""

    row: SheetRow
    content: SheetContent
    pieces: tuple[PieceOnSheet, ...]

    @property
    def done(self) -> frozenset[str]:
        """Codes of the pieces that are cut."""
        return frozenset(one.piece.code for one in self.pieces if one.state == TaskState.DONE)


def is_sheet(code: str) -> bool:
    return CutSheet.objects.exclude(code="").filter(code=code_read(code)).exists()


def sheet_at(code: str) -> SheetAt:
    """The sheet of a code with its pieces. raises NotFound"""
    wanted = code_read(code)
    sheet = CutSheet.objects.select_related("plan").exclude(code="").filter(code=wanted).first()
    if sheet is None:
        raise NotFound(f"There is no sheet {wanted}.")
    content = sheet_contents([sheet])[0]
    live = [piece for piece in content.pieces if not piece.is_off]
    tasks = {
        row["segment_id"]: row
        for row in Task.objects.filter(
            operation=CUT, segment__in=[piece.segment_id for piece in live]
        ).values("segment_id", "fitting_id", "state", "fitting__order__due_on", "fitting__order__priority")
    }
    plated = {tasks[piece.segment_id]["fitting_id"] for piece in live if piece.plate}
    cut = plates_cut(sorted(plated))
    pieces = []
    for piece in live:
        state = tasks[piece.segment_id]["state"] if piece.segment_id in tasks else TaskState.VOID
        if state in (TaskState.READY, TaskState.RUNNING) and piece.plate in cut.get(piece.segment_id, ()):
            state = TaskState.DONE
        pieces.append(PieceOnSheet(piece, str(state)))
    left = [one for one in pieces if one.state in (TaskState.READY, TaskState.RUNNING, TaskState.HELD)]
    counted = [tasks[one.piece.segment_id] for one in left or pieces if one.piece.segment_id in tasks]
    row = SheetRow(
        sheet,
        open=len(left),
        running=sum(one.state == TaskState.RUNNING for one in left),
        held=sum(one.state == TaskState.HELD for one in left),
        plates=sum(one.piece.plate > 0 for one in left),
        due=min(
            (task["fitting__order__due_on"] for task in counted if task["fitting__order__due_on"]),
            default=None,
        ),
        priority=min((task["fitting__order__priority"] for task in counted), default=5),
    )
    return SheetAt(_with_totals([row])[0], content, tuple(pieces))
