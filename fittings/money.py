"""Amounts of money as people read them. Held as decimals with two digits; the sign is a setting of the shop."""

from __future__ import annotations

from decimal import Decimal

from fittings.costing import CENT, cents
from fittings.tables import rows
from shared.problems import NotFound
from shared.units import NO_BREAK

__all__ = ("CENT", "LONGEST_SIGN", "NOT_KNOWN", "USUAL_SIGN", "cents", "currency_sign", "money_text")
USUAL_SIGN = "$"
NOT_KNOWN = "not known"
LONGEST_SIGN = 5


def currency_sign() -> str:
    """The shop's currency sign: `currency` of its table The shop, a dollar where it has none."""
    try:
        typed = next((str(row["value"]).strip() for row in rows("shop") if row["key"] == "currency"), "")
    except NotFound:
        typed = ""
    return typed if 0 < len(typed) <= LONGEST_SIGN else USUAL_SIGN


def money_text(amount: Decimal | None, sign: str) -> str:
    """An amount with its sign and two digits; None is not known.

    >>> money_text(Decimal("1234.5"), "$"), money_text(Decimal("-3"), "$"), money_text(None, "$")
    ('$1,234.50', '-$3.00', 'not known')
    """
    if amount is None:
        return NOT_KNOWN
    amount = cents(amount)
    gap = NO_BREAK if sign[-1:].isalpha() else ""
    return f"{'-' if amount < 0 else ''}{sign}{gap}{abs(amount):,.2f}"
