"""What needs a supervisor's eyes, one list a kind, and the notes that settle it. The record itself never changes.

A thing leaves its list by a further scan (a hold that is resumed, a missed operation scanned after all, a number that
comes late), or by a note. What each kind's item is:

implied  a fitting, since operations of it were taken as done because a later one was scanned
clock    a scan whose tablet's clock was too far off to be used
same_id  a delivery of a known id with another body
gap      numbers of a tablet that have not come
hold     a task on hold
left     a fitting on a delivery that is not finished any more
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import (
    BooleanField,
    Case,
    CharField,
    Exists,
    F,
    OuterRef,
    QuerySet,
    Subquery,
    Value,
    When,
)
from django.db.models.expressions import RawSQL
from django.db.models.functions import Coalesce

from shared.problems import FieldError, WrongInput
from shared.roles import Actor
from shared.texts import is_unprintable
from shared.turn import write_turn
from shopfloor.models import NumberGap, Settlement
from shopfloor.needs_eyes_items import BUILD, LONGEST_WHAT, Item, Row, names_of
from travelers.left_the_shop import left_unfinished
from travelers.models import Scan, ScanMismatch, ScanTarget, Task, TaskState

Kind = Settlement.Kind
LISTED = timedelta(days=30)
GAP_PATIENCE = timedelta(minutes=5)
MOST_AT_ONCE = 50
LONGEST_NOTE = 500


# -- what is open -----------------------------------------------------------


def _unsettled(kind: str, found: QuerySet, *, item: str, since: Any, newest_first: bool = True) -> QuerySet:
    """Rows (item, since) of what no note has settled."""
    notes = Settlement.objects.filter(kind=kind, item=OuterRef("item"), since=OuterRef("since"))
    found = found.annotate(item=F(item), since=since).filter(~Exists(notes))
    order = ("-since", "-item") if newest_first else ("since", "item")
    return found.order_by(*order).values_list("item", "since")


def _implied(now: datetime) -> QuerySet:
    found = Task.objects.filter(is_implied=True, state=TaskState.DONE, finished_at__gte=now - LISTED)
    return _unsettled(Kind.IMPLIED, found, item="fitting_id", since=F("finished_at")).distinct()


def _clocks(now: datetime) -> QuerySet:
    found = Scan.objects.filter(is_time_doubtful=True, received_at__gte=now - LISTED)
    return _unsettled(Kind.CLOCK, found, item="sequence", since=F("received_at"))


def _same_ids(now: datetime) -> QuerySet:
    found = ScanMismatch.objects.filter(received_at__gte=now - LISTED)
    return _unsettled(Kind.SAME_ID, found, item="pk", since=F("received_at"))


def gaps_open(now: datetime) -> QuerySet[NumberGap]:
    """Gaps that are older than the few minutes in which a scan may still be on its way."""
    return NumberGap.objects.filter(closed_at=None, noticed_at__lte=now - GAP_PATIENCE)


def _gaps(now: datetime) -> QuerySet:
    return _unsettled(Kind.GAP, gaps_open(now), item="pk", since=F("noticed_at"), newest_first=False)


def _holds(now: datetime) -> QuerySet:
    """Oldest first. A hold counts from its own scan: the last one of the piece at that operation."""
    scans = ScanTarget.objects.filter(
        fitting=OuterRef("fitting"),
        scan__action="hold",
        scan__outcome=Scan.Outcome.RECORDED,
        scan__operation=OuterRef("operation_id"),
    ).order_by("-scan__effective_at", "-scan_id")
    of_segment = scans.filter(segment=OuterRef("segment"))
    began = Case(
        When(segment=None, then=Subquery(scans.values("scan__effective_at")[:1])),
        default=Subquery(of_segment.values("scan__effective_at")[:1]),
    )
    found = Task.objects.open().filter(state=TaskState.HELD)
    since = Coalesce(began, F("ready_at"), F("fitting__line__order__released_at"))
    return _unsettled(Kind.HOLD, found, item="pk", since=since, newest_first=False)


def _left(now: datetime) -> QuerySet:
    return _unsettled(Kind.LEFT, left_unfinished(), item="pk", since=F("delivered__delivery__made_at"))


_OPEN: dict[str, Callable[[datetime], QuerySet]] = {
    Kind.HOLD: _holds,
    Kind.LEFT: _left,
    Kind.GAP: _gaps,
    Kind.CLOCK: _clocks,
    Kind.SAME_ID: _same_ids,
    Kind.IMPLIED: _implied,
}
KINDS = tuple(_OPEN)


def open_rows(kind: str, *, now: datetime) -> QuerySet:
    """What of a kind needs eyes, as rows (item, since)."""
    return _OPEN[kind](now)


def open_counts(*, now: datetime) -> dict[str, int]:
    """How much of each kind needs eyes. One query a kind."""
    return {kind: rows(now).count() for kind, rows in _OPEN.items()}


def items_of(kind: str, rows: Sequence[Row], *, now: datetime) -> list[Item]:
    """The rows in words."""
    return BUILD[kind](rows, now) if rows else []


# -- settling ---------------------------------------------------------------


def settle(*, kind: str, keys: Sequence[str], text: str, actor: Actor, now: datetime) -> int:
    """Settle open things of a kind with one note: all of them or none.

    keys    as `Item.key` gives them
    raises  WrongInput naming what is wrong; nothing is settled then
    """
    text = " ".join(text.split())
    errors = _wrong(kind, keys, text)
    if errors:
        raise WrongInput(errors)
    wanted = {_row(key) for key in keys}
    open_now = open_rows(kind, now=now).filter(item__in={item for item, _ in wanted})
    found = [row for row in open_now if row in wanted]
    if len(found) < len(wanted):
        raise _gone(len(wanted) - len(found))
    notes = [
        Settlement(
            kind=kind,
            item=one.item,
            since=one.since,
            what=one.what[:LONGEST_WHAT],
            code=one.code,
            by=actor.name,
            at=now,
            text=text,
        )
        for one in items_of(kind, found, now=now)
    ]
    try:
        with write_turn(), transaction.atomic():
            Settlement.objects.bulk_create(notes)
    except IntegrityError:
        raise _gone(1) from None
    return len(notes)


def _wrong(kind: str, keys: Sequence[str], text: str) -> list[FieldError]:
    errors = []
    if kind not in _OPEN:
        limit = ", ".join(KINDS)
        errors.append(FieldError("kind", kind, limit, f"Kind is {kind[:20]}; it can be {limit}."))
    if not 1 <= len(keys) <= MOST_AT_ONCE:
        message = (
            "Tick what the note is about." if not keys else f"{len(keys)} are ticked; at most 50 at once."
        )
        errors.append(FieldError("item", len(keys), f"1 to {MOST_AT_ONCE}", message))
    elif any(_row(key) is None for key in keys):
        message = "What is ticked cannot be read. Load the page again."
        errors.append(FieldError("item", "", "as the page lists them", message))
    limit = f"1 to {LONGEST_NOTE} characters"
    if not 1 <= len(text) <= LONGEST_NOTE:
        given = f"The note has {len(text)} characters" if text else "The note is empty"
        errors.append(FieldError("text", text, limit, f"{given}; it can have {limit}."))
    elif any(map(is_unprintable, text)):
        message = "The note holds characters that cannot be printed."
        errors.append(FieldError("text", "", "characters that can be printed", message))
    return errors


def _row(key: str) -> Row | None:
    item, _, since = key.partition(" ")
    try:
        at = datetime.fromisoformat(since)
        return (int(item), at) if len(item) <= 18 and at.tzinfo is not None else None
    except ValueError:
        return None


def _gone(count: int) -> WrongInput:
    message = (
        f"{count} of what is ticked no longer {'needs' if count == 1 else 'need'} eyes: settled meanwhile, or"
        " changed by a scan. Nothing was settled. Look at the list again."
    )
    return WrongInput([FieldError("item", count, "what is listed", message)])


# -- what is settled --------------------------------------------------------


@dataclass(frozen=True)
class Settled:
    """One thing that was settled: by a note, by a scan that resumed it, or by the scans that came late."""

    at: datetime
    kind: str
    what: str
    how: str
    by: str
    code: str = ""
    is_note: bool = False


def settled_rows(*, now: datetime) -> QuerySet:
    """(at, how, row): every note; holds resumed and gaps closed within the last 30 days. Newest first."""

    def rows(found: QuerySet, how: str, at: str) -> QuerySet:
        how = Value(how, output_field=CharField())
        return found.order_by().annotate(when=F(at), how=how, row=F("pk")).values_list("when", "how", "row")

    notes = rows(Settlement.objects.all(), "note", "at")
    is_resume = RawSQL(
        "travelers_scan.action = 'resume'", (), BooleanField()
    )  # as in its index, word for word
    resumed = Scan.objects.filter(
        is_resume, outcome=Scan.Outcome.RECORDED, changed__gt=0, received_at__gte=now - LISTED
    )
    came = NumberGap.objects.filter(closed_at__gte=now - LISTED)
    every = notes.union(rows(resumed, "resumed", "received_at"), rows(came, "came", "closed_at"), all=True)
    return every.order_by("-when", "how", "-row")


def settled_of(rows: Sequence[tuple[datetime, str, int]]) -> list[Settled]:
    """The rows in words. Four queries."""
    ids: dict[str, list[int]] = {"note": [], "resumed": [], "came": []}
    for _, how, row in rows:
        ids[how].append(row)
    notes = Settlement.objects.in_bulk(ids["note"])
    scans = Scan.objects.in_bulk(ids["resumed"])
    gaps = NumberGap.objects.select_related("series").in_bulk(ids["came"])
    names = names_of(scan.badge for scan in scans.values())
    found = []
    for at, how, row in rows:
        if how == "note":
            note = notes[row]
            found.append(Settled(at, note.kind, note.what, note.text, note.by, note.code, is_note=True))
        elif how == "resumed":
            scan = scans[row]
            by = names.get(scan.badge, scan.badge)
            found.append(
                Settled(
                    at, Kind.HOLD, f"Hold at {scan.operation}", f"Resumed at {scan.station}", by, scan.code
                )
            )
        else:
            gap = gaps[row]
            last = gap.last or gap.first
            numbers = f"Number {gap.first}" if last == gap.first else f"Numbers {gap.first} to {last}"
            how_words = "What was missing has come" if gap.last else "The store was not emptied after all"
            found.append(
                Settled(at, Kind.GAP, f"{numbers} of a tablet of {gap.series.station}", how_words, "")
            )
    return found
