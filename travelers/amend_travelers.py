"""Travelers of changed lots: void, with the one that goes with the work now."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from fittings import numbering
from fittings.models import Fitting
from travelers.models import Traveler


def travelers_renew(
    codes: Sequence[str], *, version: int, successors: Sequence[Fitting], now: datetime
) -> None:
    """Make travelers void of which fittings were taken out, in the caller's transaction.

    What is left of a lot gets a new traveler. Of one that stands for nothing any more the successor is that of the
    fittings that are made in place of its own, where there are any.
    """
    olds = list(Traveler.objects.filter(code__in=codes, void_at=None).order_by("pk"))
    by_code = {one.code: one for one in Traveler.objects.filter(code__in=_codes_of(successors))}
    for old in olds:
        mine = Fitting.objects.filter(line=old.line_id, traveler_code=old.code).order_by("number")
        left = list(mine.filter(taken_out_at=None).values_list("pk", "number"))
        new = None
        if left:
            new = Traveler.objects.create(
                code=numbering.take(1)[0],
                line_id=old.line_id,
                first_number=left[0][1],
                last_number=left[-1][1],
            )
            Fitting.objects.filter(pk__in=[pk for pk, _ in left]).update(traveler_code=new.code)
        else:
            code = mine.exclude(replaced_by=None).values_list("replaced_by__traveler_code", flat=True).first()
            fallback = successors[0].traveler_code if successors else ""
            new = by_code.get(code or fallback)
        old.void_at, old.void_version, old.replaced_by = now, version, new
        old.save(update_fields=["void_at", "void_version", "replaced_by"])


def _codes_of(fittings: Sequence[Fitting]) -> set[str]:
    return {one.traveler_code for one in fittings}
