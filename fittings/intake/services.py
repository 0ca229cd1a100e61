"""Files of orders: kept as they are read, matched, corrected, and brought in, whole or not at all."""

from __future__ import annotations

import time
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Max, Q
from django.utils import timezone

from fittings.customers import customer_named
from fittings.intake.cell_errors import cell_errors
from fittings.intake.checking import HEAD_FIELDS, Asked, Checker, Found
from fittings.intake.columns import columns
from fittings.intake.delimited import read_csv
from fittings.intake.grid import Page, digest
from fittings.intake.limits import MOST_COLUMNS, Deadline, check_packed
from fittings.intake.matching import LEAVE_OUT, Match, head_words, matched
from fittings.intake.workbook import OLD_FORM, read_xlsx
from fittings.models import ColumnMatch, IntakeFile, Order
from fittings.orders import order_create
from fittings.reading import Developed
from fittings.tables import all_rows, versions_in_force
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor

KEPT_FOR = timedelta(days=30)
MOST_KEPT_WRONG = 5_000
MOST_DEVELOPED = 20_000
PACKAGES = (b"PK", OLD_FORM)


@dataclass
class Intake:
    """A file as it was read, and what is said beside it."""

    name: str
    pages: list[Page]
    has_comma: bool = False
    notes: list[str] = field(default_factory=list)
    asked: Asked = field(default_factory=Asked)
    said: dict[str, str] = field(default_factory=dict)

    @property
    def customer(self) -> str:
        return self.asked.head.get("customer", "").strip()


def deadline_now() -> Deadline:
    return Deadline(time.monotonic)


# -- a file read and checked, nothing stored -----------------------------------


def intake_read(content: bytes, *, name: str, asked: Asked, deadline: Deadline | None = None) -> Intake:
    """The file as grids. raises WrongInput, TooLarge for what is wrong with it as a whole"""
    deadline = deadline or deadline_now()
    check_packed(len(content))
    if content.startswith(PACKAGES):
        pages, notes = read_xlsx(content, name=name, deadline=deadline)
        if not pages:
            message = "No sheet of the file has anything in it."
            raise WrongInput([FieldError("file", name[:100], "a file with rows", message)])
        return Intake(name, pages, notes=notes, asked=asked)
    page, has_comma = read_csv(content, name=name, deadline=deadline)
    if not page.rows:
        raise WrongInput([FieldError("file", name[:100], "a file with rows", "The file is empty.")])
    return Intake(name, [page], has_comma, asked=asked)


def intake_checked(intake: Intake, *, deadline: Deadline | None = None) -> tuple[Found, list[Match]]:
    """What the file would make by the tables in force, and what its columns mean."""
    matches = intake_matches(intake)
    versions = versions_in_force()
    checker = Checker(
        asked=intake.asked,
        tables=all_rows(versions),
        developed=_developed(tuple(sorted(versions.items())), intake.asked.unit),
        today=timezone.localdate(),
        taken=_taken,
        deadline=deadline or deadline_now(),
        has_comma=intake.has_comma,
    )
    return checker.checked(intake.pages, matches), matches


@lru_cache(maxsize=4)
def _developed(versions: tuple[tuple[str, int], ...], unit: str) -> Developed:
    """What was developed by these tables lately: a file is looked at more than once."""
    return KeptDevelopments()


class KeptDevelopments(dict):
    """Forgets the oldest where it has grown too long. Several threads may look at files at once."""

    def __setitem__(self, key, value) -> None:
        if isinstance(value, WrongInput):
            value = value.with_traceback(None)
        super().__setitem__(key, value)
        if len(self) > MOST_DEVELOPED:
            with suppress(RuntimeError, KeyError):
                del self[next(iter(self))]


def intake_matches(intake: Intake) -> list[Match]:
    """What the columns of each sheet mean: as said of this file, of the customer's files, by sense."""
    known = {**remembered(intake.customer), **intake.said}
    return [matched(page, known) for page in intake.pages]


def remembered(customer: str) -> dict[str, str]:
    """What heads were said to mean in the customer's files; in files of nobody named where there is no customer."""
    found = ColumnMatch.objects.order_by("pk")
    who = customer_named(customer) if customer else None
    own = found.none() if customer and who is None else found.filter(customer=who)
    return {head: column for head, column in own.values_list("head", "column") if column in ("", *columns())}


def _taken(numbers: list[str]) -> set[str]:
    return set(Order.objects.filter(number__in=numbers).values_list("number", flat=True))


def earlier(intake: Intake, first_digest: str) -> list[IntakeFile]:
    """Files with the same content that were brought in for the same customer."""
    same = Q(digest=first_digest) | Q(digest_in=first_digest)
    now_digest = digest(intake.pages)
    same |= Q(digest=now_digest) | Q(digest_in=now_digest)
    found = IntakeFile.objects.filter(same, imported_at__isnull=False, customer=intake.customer.lower())
    return list(found.order_by("imported_at", "pk"))


# -- brought in ----------------------------------------------------------------


def intake_import(
    *, intake: Intake, found: Found, again: bool, actor: Actor, now: datetime
) -> tuple[IntakeFile, list[Order]]:
    """Every order of a checked file as a draft, or none, and the file remembered. For programs.

    raises  WrongInput naming every wrong cell; Conflict where the same is in already and not wanted again
    """
    with transaction.atomic():
        row = IntakeFile(made_at=now, made_by=actor.name, digest=digest(intake.pages), **_fields(intake))
        row.pages = []
        return row, _bring_in(row, intake, found, again=again, actor=actor, now=now)


def intake_bring_in(*, pk: int, again: bool, actor: Actor, now: datetime) -> list[Order]:
    """The kept file's orders as drafts, or none.

    raises  NotFound; WrongInput where a cell is wrong; Conflict where it, or the same, is in already
    """
    intake = intake_of(intake_file(pk))
    found, _ = intake_checked(intake)  # takes its time, so before the transaction
    with transaction.atomic():
        row = intake_locked(pk)
        if row.imported_at is not None:
            raise Conflict(f"This file is in already as {orders_said(row.orders)}.")
        if row.pages != [page.kept() for page in intake.pages]:
            raise Conflict("Somebody corrected this file at the same moment. Look at it again.")
        return _bring_in(row, intake, found, again=again, actor=actor, now=now)


def _bring_in(
    row: IntakeFile, intake: Intake, found: Found, *, again: bool, actor: Actor, now: datetime
) -> list[Order]:
    if found.wrong:
        raise WrongInput(cell_errors(found.wrong, intake.pages))
    before = earlier(intake, row.digest)
    if before and not again:
        numbers = [number for one in before for number in one.orders]
        message = f"The same file is in already as {orders_said(numbers)}. Nothing was made."
        raise Conflict(message, [FieldError("file", row.name, "again, by choice", message)], orders=numbers)
    orders = [order_create(data=one.order, actor=actor, now=now) for one in found.orders]
    same = IntakeFile.objects.filter(digest=row.digest, customer=intake.customer.lower())
    _remember(intake, actor, now)
    last = same.filter(imported_at__isnull=False).aggregate(last=Max("copy"))["last"]
    row.copy = 0 if last is None else last + 1
    row.customer, row.orders = intake.customer.lower(), [order.number for order in orders]
    row.digest_in, row.imported_at, row.imported_by = digest(intake.pages), now, actor.name
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError:
        raise Conflict(
            "The same file is being brought in at this moment. Look again.", retry_after=1
        ) from None
    return orders


# -- kept to be looked at --------------------------------------------------------


def intake_keep(*, content: bytes, name: str, asked: Asked, actor: Actor, now: datetime) -> IntakeFile:
    """A file read and kept with what was found in it. What was left lying for 30 days goes.

    raises  WrongInput, TooLarge for what is wrong with it as a whole
    """
    deadline = deadline_now()
    intake = intake_read(content, name=name, asked=asked, deadline=deadline)
    row = IntakeFile(made_at=now, made_by=actor.name, digest=digest(intake.pages), **_fields(intake))
    _look(row, intake, deadline)
    with transaction.atomic():
        old = IntakeFile.objects.filter(made_at__lt=now - KEPT_FOR)
        old.filter(imported_at=None).delete()
        old.exclude(pages=[]).update(pages=[], found={})
        row.save()
    return row


def intake_match(
    *, pk: int, said: Mapping[str, str], asked: Asked, actor: Actor, now: datetime
) -> IntakeFile:
    """What heads mean, said by somebody, and remembered for the customer's next file.

    said    a head as it stands in the file to a column's name, or "" to leave it out
    raises  NotFound; WrongInput for a column that there is not; Conflict where the file is in already
    """
    wrong = [name for name in said.values() if name not in (LEAVE_OUT, *columns())]
    if wrong:
        message = f"“{wrong[0][:40]}” is no column."
        raise WrongInput([FieldError("columns", wrong[0], "a column's name", message)])
    row = _open(pk)
    intake = intake_of(row)
    intake.asked = asked
    intake.said = {head_words(head)[0]: name for head, name in said.items()}
    _look(row, intake, deadline_now())
    with transaction.atomic():
        kept = _open(pk, is_locked=True)
        _remember(intake, actor, now)
        _save(kept, row, intake)
    return kept


def intake_correct(
    *,
    pk: int,
    cells: Mapping[tuple[int, int, int], str],
    left_out: Iterable[tuple[int, int]],
    shown: Iterable[tuple[int, int]],
    asked: Asked,
    actor: Actor,
    now: datetime,
) -> IntakeFile:
    """Cells typed over, rows left out or taken in again, the head beside the file; and looked at again.

    cells     (sheet, row number, column) to what stands there now
    left_out  (sheet, row number) of the rows left out, among those `shown`
    raises    NotFound; Conflict where the file is in already
    """
    row = _open(pk)
    intake = intake_of(row)
    intake.asked = asked
    for (sheet, number, column), text in cells.items():
        if sheet < len(intake.pages) and number in intake.pages[sheet].numbers and column < 2 * MOST_COLUMNS:
            intake.pages[sheet].put(number, column, text.strip())
    out = set(left_out)
    for sheet, number in shown:
        if sheet < len(intake.pages):
            (
                intake.pages[sheet].left_out.add
                if (sheet, number) in out
                else intake.pages[sheet].left_out.discard
            )(number)
    _look(row, intake, deadline_now())
    with transaction.atomic():
        kept = _open(pk, is_locked=True)
        _save(kept, row, intake)
    return kept


def intake_put_in(
    *,
    pk: int,
    cells: Mapping[tuple[int, int, int], str],
    left_out: Iterable[tuple[int, int]],
    shown: Iterable[tuple[int, int]],
    asked: Asked,
    again: bool,
    actor: Actor,
    now: datetime,
) -> list[Order]:
    """The file brought in as it stands on its page, with what was typed there last. raises as the two that it does"""
    intake_correct(pk=pk, cells=cells, left_out=left_out, shown=shown, asked=asked, actor=actor, now=now)
    return intake_bring_in(pk=pk, again=again, actor=actor, now=now)


def intake_drop(*, pk: int, actor: Actor) -> None:
    """A file that is not wanted. raises NotFound; Conflict where it is in already"""
    with transaction.atomic():
        _open(pk, is_locked=True).delete()


def intake_file(pk: int) -> IntakeFile:
    row = IntakeFile.objects.filter(pk=pk).first()
    if row is None:
        raise NotFound("There is no such file here. Files that are not brought in go after 30 days.")
    return row


def intake_locked(pk: int) -> IntakeFile:
    row = IntakeFile.objects.select_for_update(of=("self",), no_key=True).filter(pk=pk).first()
    if row is None:
        raise NotFound("There is no such file here. Files that are not brought in go after 30 days.")
    return row


def intake_of(row: IntakeFile) -> Intake:
    asked = Asked(row.asked.get("head", {}), row.asked.get("usual", {}), row.asked.get("unit", "in"))
    pages = [Page.of_kept(page) for page in row.pages]
    return Intake(row.name, pages, row.has_comma, list(row.notes), asked, dict(row.said))


def orders_said(numbers: list[str]) -> str:
    """“order 1042”, “orders 1042, 1043 and 8 more”."""
    if len(numbers) == 1:
        return f"order {numbers[0]}"
    more = f" and {len(numbers) - 5} more" if len(numbers) > 5 else ""
    return f"orders {', '.join(numbers[:5])}{more}"


def _open(pk: int, *, is_locked: bool = False) -> IntakeFile:
    row = intake_locked(pk) if is_locked else intake_file(pk)
    if row.imported_at is not None:
        raise Conflict(f"This file is in already as {orders_said(row.orders)}. It is kept as it came in.")
    return row


def _fields(intake: Intake) -> dict[str, Any]:
    return {
        "name": intake.name[:200] or "file",
        "pages": [page.kept() for page in intake.pages],
        "has_comma": intake.has_comma,
        "notes": intake.notes,
        "asked": asdict(intake.asked),
        "said": intake.said,
        "customer": intake.customer.lower(),
    }


def _look(row: IntakeFile, intake: Intake, deadline: Deadline) -> None:
    """What is found in the file now, onto its row."""
    found, matches = intake_checked(intake, deadline=deadline)
    row.pages = [page.kept() for page in intake.pages]  # with the columns that were added
    row.found = {
        "orders": [
            {
                "head": {name: one.head.get(name) or intake.asked.head.get(name, "") for name in HEAD_FIELDS},
                "lines": len(one.lines),
                "pieces": one.pieces,
            }
            for one in found.orders
        ],
        "wrong": [asdict(one) for one in found.wrong[:MOST_KEPT_WRONG]],
        "wrong_count": len(found.wrong),
        "notes": [*intake.notes, *found.notes],
        "open": [[at, column] for at, match in enumerate(matches) for column in match.open if match.is_known],
        "lacks": [one.name for one in found.wrong if one.column is None and one.name and one.row is not None],
        "lines": found.lines,
        "pieces": found.pieces,
    }


def _save(kept: IntakeFile, row: IntakeFile, intake: Intake) -> None:
    for name, value in _fields(intake).items():
        setattr(kept, name, value)
    kept.found = row.found
    kept.save()


def _remember(intake: Intake, actor: Actor, now: datetime) -> None:
    customer = None
    if intake.customer:
        customer = customer_named(intake.customer)
        if customer is None:
            return  # a customer is made with the first order; what is said of this file stays with it
    for head, name in intake.said.items():
        values = {"column": name, "said_at": now, "said_by": actor.name}
        ColumnMatch.objects.update_or_create(customer=customer, head=head[:120], defaults=values)
