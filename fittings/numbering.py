"""Where codes come from: one counter row, locked to the commit, so that no code is given out twice."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction

from fittings.models import CodeSeries
from shared.codes import ALPHABET, MARK_LENGTH, take_codes


def series_set_up() -> CodeSeries:
    """The shop's code series. A new shop draws its mark, so that another shop's codes are told apart."""
    series = CodeSeries.objects.filter(pk=1).first()
    if series is None:
        letters = ALPHABET[10:]
        mark = "".join(secrets.choice(letters) for _ in range(MARK_LENGTH))
        series, _ = CodeSeries.objects.get_or_create(pk=1, defaults={"mark": mark})
    return series


def take(count: int) -> list[str]:
    """`count` fresh codes, in a transaction of the caller's or its own."""
    if count < 1:
        return []
    with transaction.atomic():
        series = CodeSeries.objects.select_for_update().get(pk=1)
        codes, series.next_number = take_codes(series.mark, series.next_number, count)
        series.save(update_fields=["next_number"])
    return codes


@dataclass(frozen=True)
class CodesAhead:
    """Codes worked out before anybody has to wait for them; they are taken once `claimed` gives them."""

    codes: Sequence[str]
    first_number: int
    next_number: int


def ahead(count: int) -> CodesAhead:
    """The next `count` codes as the series stands. Nothing is taken yet."""
    series = CodeSeries.objects.get(pk=1)
    codes, after = take_codes(series.mark, series.next_number, count)
    return CodesAhead(codes, series.next_number, after)


def claimed(ahead: CodesAhead) -> Sequence[str] | None:
    """The codes, taken in the caller's transaction; None where some of them were given out meanwhile."""
    mine = CodeSeries.objects.filter(pk=1, next_number=ahead.first_number)
    return ahead.codes if mine.update(next_number=ahead.next_number) else None


def shop_mark() -> str:
    return CodeSeries.objects.values_list("mark", flat=True).get(pk=1)
