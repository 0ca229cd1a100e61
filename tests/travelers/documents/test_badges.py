"""Badges as cards: of the right size, whole, with codes that other readers decode."""

from __future__ import annotations

import pytest

from shared.codes import take_codes
from travelers.documents import badges_pdf
from travelers.documents.badges import CARD, PER_PAGE, corner_of
from travelers.documents.data import BadgeCard, Shop

from .reading import PT, codes, corners, pages, words

SHOP = Shop("Example Round Works")
LONG = "Wolfeschlegelsteinhausenbergerdorff-Winterbottom von und zu Immerda " * 2
CODES, _ = take_codes("DX", 1, PER_PAGE + 1)
PAGE_HIGH = 792.0


def cards(*names: str) -> list[BadgeCard]:
    return [BadgeCard(code, name) for code, name in zip(CODES, names, strict=False)]


def test_a_card_is_as_large_as_a_bank_card():
    """ISO/IEC 7810 ID-1: 85.60 × 53.98 mm; 1 in is 72 pt and 25.4 mm."""
    assert CARD[0] / 72 * 25.4 == pytest.approx(85.6, abs=0.05)
    assert CARD[1] / 72 * 25.4 == pytest.approx(53.98, abs=0.05)


def test_every_code_is_read_back_within_its_own_card():
    data = badges_pdf(cards(*["Ana Ruiz"] * (PER_PAGE + 1)), shop=SHOP)
    first, second = pages(data)
    found = {one.text: corners(one) for one in codes(first)}
    assert set(found) == set(CODES[:PER_PAGE])
    assert [one.text for one in codes(second)] == [CODES[PER_PAGE]]
    for place, code in enumerate(CODES[:PER_PAGE]):
        x, y = corner_of(place)
        left, top, right, bottom = (value / PT for value in found[code])
        assert x < left < right < x + CARD[0]
        assert PAGE_HIGH - y - CARD[1] < top < bottom < PAGE_HIGH - y


def test_name_shop_and_code_stand_on_the_card():
    text = words(badges_pdf(cards("José Ñandú"), shop=SHOP))[0]
    assert "José Ñandú" in text and "Example Round Works" in text
    assert CODES[0] in text.replace(" ", "")


@pytest.mark.parametrize("name", [LONG[:80], "W" * 80, "X", "Ana " * 20])
def test_the_longest_name_stays_beside_the_code(name):
    """A name of 80 characters: the code still reads, and nothing dark stands between the cards."""
    image = pages(badges_pdf(cards(name, name, name), shop=Shop("Works " * 30)))[0]
    assert {one.text for one in codes(image)} == set(CODES[:3])
    (x, y), (next_x, _) = corner_of(0), corner_of(1)
    gap = image[
        int((PAGE_HIGH - y - CARD[1] + 12) * PT) : int((PAGE_HIGH - y - 12) * PT),
        int((x + CARD[0] + 1) * PT) : int((next_x - 1) * PT),
    ]
    assert gap.min() == 255


def test_no_card_is_no_print():
    with pytest.raises(ValueError, match="no badge"):
        badges_pdf([], shop=SHOP)
