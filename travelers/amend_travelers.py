"""Travelers of changed lots: void, with the one that goes with the work now."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from fittings import numbering
from fittings.models import Fitting
from shared.portions import in_portions
from travelers.models import Traveler

AT_A_TIME = 200


def travelers_renew(
    codes: Sequence[str], *, version: int, successors: Sequence[Fitting], now: datetime
) -> None:
    """Make travelers void of which fittings were taken out, in the caller's transaction.

    What is left of a lot gets a new traveler. Of one that stands for nothing any more the successor is that of the
    fittings that are made in place of its own, where there are any.
    """
    olds = list(Traveler.objects.filter(code__in=codes, void_at=None).order_by("pk"))
    mine = _fittings_of(olds)
    left = {old.pk: [one for one in mine[old.pk] if one.taken_out_at is None] for old in olds}
    lots = [old for old in olds if left[old.pk]]
    made = {
        old.pk: _of_the_rest(old, left[old.pk], code)
        for old, code in zip(lots, numbering.take(len(lots)), strict=True)
    }
    Traveler.objects.bulk_create(made.values(), batch_size=AT_A_TIME)
    for pk, new in made.items():
        for part in in_portions([one.pk for one in left[pk]], AT_A_TIME):
            Fitting.objects.filter(pk__in=part).update(traveler_code=new.code)
    by_code = {one.code: one for one in Traveler.objects.filter(code__in=_codes_of(successors))}
    fallback = successors[0].traveler_code if successors else ""
    for old in olds:
        code = next((one.replaced_by.traveler_code for one in mine[old.pk] if one.replaced_by), fallback)
        old.void_at, old.void_version, old.replaced_by = now, version, made.get(old.pk) or by_code.get(code)
    Traveler.objects.bulk_update(olds, ["void_at", "void_version", "replaced_by"], batch_size=AT_A_TIME)


def _fittings_of(travelers: Sequence[Traveler]) -> dict[int, list[Fitting]]:
    """By traveler, the fittings that go with it, in the order of their numbers."""
    found: dict[int, list[Fitting]] = {one.pk: [] for one in travelers}
    by_code = {(one.line_id, one.code): one.pk for one in travelers}
    for part in in_portions(travelers, AT_A_TIME):
        listed = Fitting.objects.filter(traveler_code__in=[one.code for one in part])
        for fitting in listed.select_related("replaced_by").order_by("number"):
            if (pk := by_code.get((fitting.line_id, fitting.traveler_code))) is not None:
                found[pk].append(fitting)
    return found


def _of_the_rest(old: Traveler, left: Sequence[Fitting], code: str) -> Traveler:
    return Traveler(code=code, line_id=old.line_id, first_number=left[0].number, last_number=left[-1].number)


def _codes_of(fittings: Sequence[Fitting]) -> set[str]:
    return {one.traveler_code for one in fittings}
