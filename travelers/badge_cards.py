"""The badges of operators as printed cards: of everyone in use, or of those that are named."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction

from shared.codes import CodeNotUnderstood, read_code
from shared.problems import FieldError, NotFound, WrongInput
from shared.roles import Actor
from travelers import documents
from travelers.documents.data import BadgeCard
from travelers.models import Operator
from travelers.papers import shop_head

MOST = 500


def badge_cards(*, codes: Sequence[str], actor: Actor, now: datetime) -> bytes:
    """A PDF of cards in the order of names; when each was printed is kept.

    codes   whose; none: of everyone in use
    raises  WrongInput for codes that are no badges in use; NotFound where nobody has a badge
    """
    with transaction.atomic():
        found = _operators(codes)
        Operator.objects.filter(pk__in=[one.pk for one in found]).update(card_printed_at=now)
    cards = [BadgeCard(one.code, one.name) for one in found]
    return documents.badges_pdf(cards, shop=shop_head())


def _operators(codes: Sequence[str]) -> list[Operator]:
    in_use = Operator.objects.filter(is_active=True).order_by("name", "pk")
    if not codes:
        found = list(in_use[: MOST + 1])
        if not found:
            raise NotFound("Nobody has a badge yet. Add an operator first.")
        if len(found) > MOST:
            limit = f"at most {MOST} cards"
            message = (
                f"There are more than {MOST} badges in use; a print can be {limit}. Choose some of them."
            )
            raise WrongInput([FieldError("code", None, limit, message)])
        return found
    wanted = {_read(code) for code in codes[: MOST + 1]}
    found = list(in_use.filter(code__in=wanted - {""}))
    missing = sorted(code for code in codes if _read(code) not in {one.code for one in found})
    if missing or len(codes) > MOST:
        limit = f"1 to {MOST} badges in use"
        raise WrongInput(
            [
                FieldError("code", code[:20], limit, f"“{code[:20]}” is no badge in use.")
                for code in missing[:50]
            ]
            or [
                FieldError(
                    "code", len(codes), limit, f"{len(codes)} badges are asked for; it can be {limit}."
                )
            ]
        )
    return found


def _read(code: str) -> str:
    try:
        return read_code(code)
    except CodeNotUnderstood:
        return ""
