"""What of a line comes from stock, as its traveler says it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from fittings.drawing import positions_text
from fittings.models import KeptPiece, Order

FromStock = tuple[int, int | None, str]
"""The number of a fitting, the position of a segment in it or None for the whole fitting, and where it lies."""


def from_stock(order: Order) -> dict[int, list[FromStock]]:
    """By line: what its fittings are made of that was kept. One query."""
    found: dict[int, list[FromStock]] = defaultdict(list)
    used = KeptPiece.objects.filter(used_for__order=order).order_by(
        "used_for__number", "used_segment__position"
    )
    for line, *piece in used.values_list(
        "used_for__line", "used_for__number", "used_segment__position", "place"
    ):
        found[line].append(tuple(piece))
    return found


def from_stock_text(pieces: Iterable[FromStock]) -> str:
    """In words, whole fittings first.

    >>> from_stock_text([(1, None, "rack B1"), (2, None, "rack B1"), (4, 2, "bin A4"), (4, 3, "bin A4"), (4, 1, "")])
    'fitting 1, 2: rack B1; of fitting 4 piece 1: place not told; piece 2, 3: bin A4'
    """
    whole: dict[str, list[int]] = defaultdict(list)
    parts: dict[int, dict[str, list[int]]] = defaultdict(lambda: defaultdict(list))
    for number, position, place in pieces:
        if position is None:
            whole[place].append(number)
        else:
            parts[number][place].append(position)
    texts = [
        f"fitting {positions_text(tuple(numbers))}: {_said(place)}"
        for place, numbers in sorted(whole.items())
    ]
    for number, places in sorted(parts.items()):
        own = [f"piece {positions_text(tuple(at))}: {_said(place)}" for place, at in sorted(places.items())]
        texts.append(f"of fitting {number} " + "; ".join(own))
    return "; ".join(texts)


def _said(place: str) -> str:
    return place or "place not told"
