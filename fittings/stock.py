"""Metal on hand: sheet sizes, coils and remnants. Changes to it, what a plan takes, and what is there to cut from.

Locks are taken in one order everywhere: the code series, then stock items by primary key.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Case, ExpressionWrapper, F, FloatField, IntegerField, QuerySet, Value, When

from fittings.cut_settings import cut_settings
from fittings.models import CodeSeries, CutSheet, StockItem
from fittings.money import cents
from fittings.numbering import take
from fittings.stock_reading import read_change, read_metal, read_new, read_version, size_name
from fittings.tables import rows
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.texts import search_text
from shared.turn import write_turn
from shared.units import MM_PER_IN

SHEET, COIL, REMNANT = StockItem.Form.SHEET, StockItem.Form.COIL, StockItem.Form.REMNANT
IDENTITY = ("name", "width", "length", "is_active")
SAME_SIZE_IN = 1e-4
IN_PER_FT = 12
FORM_RANK = Case(
    When(form=REMNANT, then=Value(0)),
    When(form=SHEET, then=Value(1)),
    default=Value(2),
    output_field=IntegerField(),
)


# -- changes -----------------------------------------------------------------


def stock_create(*, values: Mapping[str, Any], actor: Actor, now: datetime) -> StockItem:
    """A new sheet size, coil or remnant.

    values  name (left out: made from the size), form, material, gauge, width, length, count (empty: not counted),
            cost_each (of a sheet or remnant, of one foot of a coil; empty: not known), note, unit
    raises  WrongInput with an entry per wrong field, also where this metal has the name or the size already
    """
    row = read_new(values)
    with write_turn(), transaction.atomic():
        _one_at_a_time()
        return _created(row, actor, now)


def stock_add_usual(*, values: Mapping[str, Any], actor: Actor, now: datetime) -> list[StockItem]:
    """The sizes of the shop table `stock` for a metal, those that it does not have yet and that the table takes.

    values  material, gauge
    raises  WrongInput naming either of them
    They are not counted and their cost is not known until somebody says so.
    """
    metal = read_metal(values)
    longest = cut_settings().table_length_in
    made = []
    with write_turn(), transaction.atomic():
        _one_at_a_time()
        for size in rows("stock"):
            if size["length_in"] > longest and size["form"] != COIL:
                continue
            sides = {"width": size["width_in"], "length": min(size["length_in"], longest)}
            row = read_new({**metal, **sides, "form": size["form"], "name": size["name"]})
            if not _twins(row):
                made.append(_created(row, actor, now))
    return made


def stock_change(*, pk: int, values: Mapping[str, Any], actor: Actor, now: datetime) -> StockItem:
    """Change the given fields of an item; `version` is the one that the editor saw.

    `is_active` true brings a retired item back.
    raises  NotFound; WrongInput; Conflict where the item has another version now
    """
    seen = read_version(values)
    with write_turn(), transaction.atomic():
        if any(name in values for name in IDENTITY):
            _one_at_a_time()
        item = _locked(pk)
        if seen != item.version:
            raise _stale(item, seen)
        changes = read_change(values, item)
        if not changes:
            return item
        if changes.get("name") == "" or (
            "name" not in changes and item.name == size_name(item.form, item.width_in, item.length_in)
        ):
            sides = [changes.get(name, getattr(item, name)) for name in ("width_in", "length_in")]
            changes["name"] = item.name if item.form == REMNANT else size_name(item.form, *sides)
        return _changed(item, changes, actor, now)


def stock_retire(*, pk: int, actor: Actor, now: datetime, version: int | None = None) -> StockItem:
    """Take an item out of the stock. It stays where plans and figures name it, and can be brought back.

    version  the one that was seen, where somebody saw one
    raises   NotFound; Conflict where the item has another version now
    """
    with write_turn(), transaction.atomic():
        item = _locked(pk)
        if version is not None and version != item.version:
            raise _stale(item, version)
        return _changed(item, {"is_active": False}, actor, now) if item.is_active else item


def _created(row: Mapping[str, Any], actor: Actor, now: datetime) -> StockItem:
    item = StockItem(**row, changed_at=now, changed_by=actor.name)
    if item.form == REMNANT:
        item.code = take(1)[0]
        item.name = item.name or remnant_name(item.code)
    item.name = item.name or size_name(item.form, item.width_in, item.length_in)
    _check_once(item)
    item.save(force_insert=True)
    return item


def _changed(item: StockItem, changes: Mapping[str, Any], actor: Actor, now: datetime) -> StockItem:
    for name, value in changes.items():
        setattr(item, name, value)
    if item.is_active and {"name", "width_in", "length_in", "is_active"} & set(changes):
        _check_once(item)
    item.version += 1
    item.changed_at, item.changed_by = now, actor.name
    item.save(update_fields=[*changes, "version", "changed_at", "changed_by"])
    return item


def _one_at_a_time() -> None:
    """Names and sizes are given once a metal: who gives one waits here for who is giving another."""
    CodeSeries.objects.select_for_update().filter(pk=1).first()


def _locked(pk: int) -> StockItem:
    item = StockItem.objects.select_for_update(of=("self",), no_key=True).filter(pk=pk).first()
    if item is None:
        raise NotFound("There is no such stock item.")
    return item


def _twins(row: Mapping[str, Any], but: int | None = None) -> list[StockItem]:
    """Active sizes of the same metal with the same name, or of the same form and size. Remnants have none."""
    if row["form"] == REMNANT:
        return []
    found = StockItem.objects.filter(is_active=True, material=row["material"], gauge=row["gauge"])
    found = found.exclude(form=REMNANT).exclude(pk=but).order_by("pk")
    return [one for one in found if _is_twin(one, row)]


def _is_twin(one: StockItem, row: Mapping[str, Any]) -> bool:
    sides = all(abs(getattr(one, name) - row[name]) < SAME_SIZE_IN for name in ("width_in", "length_in"))
    return (row["name"] and one.name.lower() == row["name"].lower()) or (one.form == row["form"] and sides)


def _check_once(item: StockItem) -> None:
    row = {
        name: getattr(item, name) for name in ("form", "material", "gauge", "name", "width_in", "length_in")
    }
    for twin in _twins(row, item.pk):
        has = f"{item.material.capitalize()} {item.gauge} ga has"
        if twin.name.lower() == item.name.lower():
            message = f"{has} a size {twin.name} already. Change that one, or give this another name."
            raise WrongInput([FieldError("name", item.name, "a name used once a metal", message)])
        message = f"{has} this {twin.form} already: {twin.name}. Change that one."
        raise WrongInput([FieldError("width", item.width_in, "a size used once a metal", message)])


def _stale(item: StockItem, seen: int) -> Conflict:
    detail = (
        f"{item} is at version {item.version} now; you began with {seen}. "
        f"{item.changed_by} changed it. Nothing was changed; load it again."
    )
    return Conflict(detail, [FieldError("version", seen, str(item.version), detail)], version=item.version)


# -- what plans take and leave -----------------------------------------------


def stock_take(*, sheets: Iterable[CutSheet], now: datetime) -> None:
    """Take the metal of a plan's sheets out of the stock, in the caller's transaction, and make their remnants.

    Counts go down; a remnant that is taken is gone. A size that is not counted, and a coil, stay as they are. A
    remnant that the plan leaves waits with count 0 until its sheet is cut (`remnants_arrive`).
    raises  Conflict naming the size that has run out, was retired or has another size meanwhile; nothing is changed
    """
    sheets = list(sheets)
    wanted = Counter(sheet.stock_id for sheet in sheets)
    _one_at_a_time()
    locked = (
        StockItem.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=wanted).order_by("pk")
    )
    items = {item.pk: item for item in locked}
    errors = [error for sheet in sheets if (error := _other_now(items[sheet.stock_id], sheet))]
    errors += [
        error for pk, number in sorted(wanted.items()) if (error := _run_out(items[pk], number, errors))
    ]
    if errors:
        told = list(dict.fromkeys(error.message for error in errors))
        raise Conflict(" ".join([*told[:3], "Nothing was changed; make the plan again."]), errors)
    who = f"cut plan {sheets[0].plan.number}" if sheets else ""
    for pk, number in sorted(wanted.items()):
        _lower(items[pk], number, who, now)
    _make_remnants(
        [sheet for sheet in sheets if sheet.remnant_width_in and sheet.remnant_length_in], who, now
    )


def _other_now(item: StockItem, sheet: CutSheet) -> FieldError | None:
    """A sheet that was planned on a size which is another one now."""
    is_other = abs(item.width_in - sheet.width_in) > SAME_SIZE_IN
    if item.form == COIL:
        is_other |= sheet.used_length_in > item.length_in + SAME_SIZE_IN
    else:
        is_other |= abs(item.length_in - sheet.length_in) > SAME_SIZE_IN
    if not is_other:
        return None
    message = f"{item} has another size now than the plan was made for."
    return FieldError("stock", item.pk, "the size of the plan", message)


def _run_out(item: StockItem, number: int, already: Sequence[FieldError]) -> FieldError | None:
    if any(error.value == item.pk for error in already):
        return None
    if not item.is_active:
        message = f"{item} was {'used' if item.form == REMNANT else 'retired'} meanwhile."
        return FieldError("stock", item.pk, "stock on hand", message)
    if item.form == COIL or item.count is None or item.count >= number:
        return None
    message = f"{item} has run out meanwhile: the plan needs {number}, {item.count or 'none'} on hand."
    return FieldError("stock", item.pk, f"at most {item.count}", message)


def _lower(item: StockItem, number: int, who: str, now: datetime) -> None:
    if item.form == COIL or item.count is None:
        return
    item.count -= number
    item.is_active = item.form != REMNANT
    item.version += 1
    item.changed_at, item.changed_by = now, who
    item.save(update_fields=["count", "is_active", "version", "changed_at", "changed_by"])


def _make_remnants(sheets: Sequence[CutSheet], who: str, now: datetime) -> None:
    StockItem.objects.bulk_create(
        StockItem(
            name=remnant_name(code),
            form=REMNANT,
            material=sheet.plan.material,
            gauge=sheet.plan.gauge,
            width_in=sheet.remnant_width_in,
            length_in=sheet.remnant_length_in,
            count=0,
            cost_each=sheet.remnant_credit,
            code=code,
            made_from=sheet,
            changed_at=now,
            changed_by=who,
        )
        for sheet, code in zip(sheets, take(len(sheets)), strict=True)
    )


def remnants_arrive(sheet: CutSheet, *, is_back: bool, now: datetime | None = None) -> None:
    """The remnants of a sheet are on hand once it is cut; where the cut is undone (`is_back`), they wait again.

    One that was used or retired meanwhile stays so. Safe to repeat. In the caller's transaction.
    """
    before, after = (1, 0) if is_back else (0, 1)
    changes = {"count": after, "version": F("version") + 1} | ({"changed_at": now} if now else {})
    StockItem.objects.filter(made_from=sheet, form=REMNANT, is_active=True, count=before).update(**changes)


def sheet_cost(item: StockItem, used_length_in: float) -> Decimal | None:
    """What one sheet of an item costs; of a coil, the length used. None where the price is not known."""
    if item.cost_each is None:
        return None
    if item.form != COIL:
        return item.cost_each
    return cents(item.cost_each * Decimal(str(round(used_length_in, 6))) / IN_PER_FT)


def remnant_credit(item: StockItem, width_in: float | None, length_in: float | None) -> Decimal | None:
    """What the remnant of a sheet of this item is worth: the sheet's cost by its share of the area.

    width_in, length_in  of the remnant; None or 0 where there is none
    returns              0.00 without a remnant, and for a coil, which is cut off where the parts end; None where the
                         price is not known
    """
    if item.cost_each is None:
        return None
    if not width_in or not length_in or item.form == COIL:
        return Decimal("0.00")
    share = Decimal(str(width_in * length_in)) / Decimal(str(item.width_in * item.length_in))
    return cents(item.cost_each * min(share, Decimal(1)))


def remnant_name(code: str) -> str:
    return f"Remnant {code}"


# -- what is there -----------------------------------------------------------


def stock_for(material: str, gauge: int, *, ids: Sequence[int] | None = None) -> list[StockItem]:
    """What is on hand of a metal: remnants smallest first, then sheets, then coils.

    ids  only these, of what is on hand; all where left out
    """
    found = StockItem.objects.filter(is_active=True, material=material, gauge=gauge).exclude(count=0)
    if ids is not None:
        found = found.filter(pk__in=list(ids))
    area = F("width_in") * F("length_in")
    return list(
        found.annotate(rank=FORM_RANK, area=ExpressionWrapper(area, FloatField())).order_by(
            "rank", "area", "pk"
        )
    )


def stock_listed(
    *, material: str = "", gauge: str | int = "", form: str = "", is_retired: bool = False
) -> QuerySet[StockItem]:
    """Stock by metal: sheets, then coils, then remnants; each with the sheet and plan that it came from.

    is_retired  what is no longer used, in place of what is
    raises      WrongInput for a form that there is not, or a gauge that is no number
    """
    found = StockItem.objects.filter(is_active=not is_retired).select_related("made_from__plan")
    if material:
        found = found.filter(material=search_text(material))
    if gauge != "":
        found = found.filter(gauge=_gauge(gauge))
    if form:
        if form not in StockItem.Form.values:
            limit = ", ".join(StockItem.Form.values)
            message = f"Form is “{search_text(form)[:40]}”; it can be {limit}."
            raise WrongInput([FieldError("form", search_text(form), limit, message)])
        found = found.filter(form=form)
    rank = Case(
        When(form=SHEET, then=Value(0)),
        When(form=COIL, then=Value(1)),
        default=Value(2),
        output_field=IntegerField(),
    )
    return found.annotate(rank=rank).order_by("material", "gauge", "rank", "width_in", "length_in", "pk")


def _gauge(text: str | int) -> int:
    text = str(text).strip()
    if not (text.isascii() and text.isdecimal() and 1 <= len(text) <= 3):
        limit = "a whole number from 1 to 999"
        message = f"Gauge is “{search_text(text)[:40]}”; it can be {limit}."
        raise WrongInput([FieldError("gauge", search_text(text), limit, message)])
    return int(text)


def stock_by_id(pk: int) -> StockItem:
    """One item with the sheet and plan that it came from.

    raises  NotFound
    """
    item = StockItem.objects.select_related("made_from__plan").filter(pk=pk).first()
    if item is None:
        raise NotFound("There is no such stock item.")
    return item


def stock_answer(item: StockItem, unit: str = "in") -> dict[str, Any]:
    """An item as the HTTP contract shows it, lengths in `unit`."""
    factor = MM_PER_IN if unit == "mm" else 1
    sheet = item.made_from
    return {
        "id": item.pk,
        "name": item.name,
        "form": item.form,
        "material": item.material,
        "gauge": item.gauge,
        "unit": unit,
        "width": round(item.width_in * factor, 6),
        "length": round(item.length_in * factor, 6),
        "count": item.count,
        "cost_each": None if item.cost_each is None else f"{item.cost_each:.2f}",
        "code": item.code,
        "made_from": sheet.code if sheet else None,
        "plan": sheet.plan.number if sheet else None,
        "note": item.note,
        "is_active": item.is_active,
        "version": item.version,
        "changed_at": item.changed_at.isoformat(),
        "changed_by": item.changed_by,
    }
