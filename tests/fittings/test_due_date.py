"""Dates as people type them."""

from datetime import date

import pytest

from fittings.due_date import DateNotUnderstood, date_text, read_date

TODAY = date(2026, 11, 25)  # a Wednesday


@pytest.mark.parametrize(
    ("text", "day"),
    [
        ("2026-12-17", date(2026, 12, 17)),
        ("17 Dec", date(2026, 12, 17)),
        ("Dec 17", date(2026, 12, 17)),
        ("december 17th, 2026", date(2026, 12, 17)),
        ("Thu 17 Dec", date(2026, 12, 17)),
        ("Thu 17 Dec 2026", date(2026, 12, 17)),
        ("5 jan", date(2027, 1, 5)),
        ("1 Nov", date(2026, 11, 1)),
        ("17 Dec 27", date(2027, 12, 17)),
        ("Thursday", date(2026, 11, 26)),
        ("wed", date(2026, 12, 2)),
        ("today", TODAY),
        ("tomorrow", date(2026, 11, 26)),
    ],
)
def test_date_is_read(text, day):
    assert read_date(text, today=TODAY) == day


@pytest.mark.parametrize(
    "text", ["3/4", "3.4.26", "31 Feb", "soon", "Dec", "17", "Fri 17 Dec", "17 Dec 9999", ""]
)
def test_what_can_be_misread_is_refused_with_a_sentence(text):
    with pytest.raises(DateNotUnderstood) as refused:
        read_date(text, today=TODAY)
    assert refused.value.sentence


def test_own_text_is_read_back():
    for day in (date(2026, 12, 17), date(2027, 1, 5), date(2026, 2, 28)):
        assert read_date(date_text(day), today=TODAY) == day
