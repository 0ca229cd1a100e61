"""Dates as people type them: the month as a word, or a day of the week. Pure: no Django, no clock."""

from __future__ import annotations

import re
from datetime import date, timedelta

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
LOOK_BACK = timedelta(days=60)
_ISO = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})$")
_FIGURES_ONLY = re.compile(r"\d{1,2}[/.\-]\d{1,2}([/.\-]\d{2,4})?$")


class DateNotUnderstood(ValueError):
    """The text is no date; `sentence` says what is."""

    def __init__(self, sentence: str):
        self.sentence = sentence
        super().__init__(sentence)


def read_date(text: str, *, today: date) -> date:
    """A date as typed: 2026-12-17, 17 Dec, Dec 17 2026, Thu 17 Dec, Thursday, tomorrow.

    Without a year it is the next such day, or one of the last 60 days; a day of the week is the next one.
    raises  DateNotUnderstood; also for 3/4, which two readers read differently

    >>> read_date("17 Dec", today=date(2026, 11, 25)), read_date("Thu", today=date(2026, 11, 25))
    (datetime.date(2026, 12, 17), datetime.date(2026, 11, 26))
    """
    shown = " ".join(text.split())[:40]
    plain = shown.lower().replace(",", " ").replace(".", " ").strip()
    if plain in ("today", "tomorrow"):
        return today + timedelta(days=plain == "tomorrow")
    iso = _ISO.match(plain)
    if iso:
        return _made(*map(int, iso.groups()), shown)
    if _FIGURES_ONLY.match(shown):
        raise DateNotUnderstood(f"“{shown}” can be read two ways. Write the month as a word: 17 Dec.")
    words = plain.split()
    weekday = _named(words[0], DAYS) if words else None
    if weekday is not None:
        words = words[1:]
        if not words:
            return today + timedelta(days=(weekday - today.weekday() - 1) % 7 + 1)
    found = _day_month_year(words, today, shown)
    if weekday is not None and found.weekday() != weekday:
        day, other = f"{found:%A}", f"{WEEKDAYS[weekday]}"
        raise DateNotUnderstood(f"{found.day} {found:%b %Y} is a {day}, not a {other}. Correct one.")
    return found


def _day_month_year(words: list[str], today: date, shown: str) -> date:
    month = next((found for word in words if (found := _named(word, MONTHS)) is not None), None)
    figures = [re.sub(r"(st|nd|rd|th)$", "", word) for word in words if _named(word, MONTHS) is None]
    if month is None or not 1 <= len(figures) <= 2 or len(words) != len(figures) + 1:
        raise _not_a_date(shown)
    if not all(part.isdecimal() and len(part) <= 4 for part in figures):
        raise _not_a_date(shown)
    day = int(figures[0])
    if len(figures) == 2:
        year = int(figures[1])
        return _made(year + 2000 if year < 100 else year, month + 1, day, shown)
    found = _made(today.year, month + 1, day, shown)
    return found if found >= today - LOOK_BACK else _made(today.year + 1, month + 1, day, shown)


def _named(word: str, names: tuple[str, ...]) -> int | None:
    return names.index(word[:3]) if len(word) >= 3 and word.isalpha() and word[:3] in names else None


def _made(year: int, month: int, day: int, shown: str) -> date:
    try:
        found = date(year, month, day)
    except ValueError:
        sentence = f"“{shown}” is not a day of the calendar. Write 17 Dec or 2026-12-17."
        raise DateNotUnderstood(sentence) from None
    if not 2000 <= found.year <= 2100:
        raise DateNotUnderstood(f"The year of “{shown}” can be 2000 to 2100.")
    return found


def _not_a_date(shown: str) -> DateNotUnderstood:
    return DateNotUnderstood(f"“{shown}” is not a date. Write 17 Dec, Thursday or 2026-12-17.")


def date_text(day: date, *, today: date | None = None) -> str:
    """“Thu 17 Dec”, with the year where it is not this one.

    >>> date_text(date(2026, 12, 17), today=date(2026, 11, 25)), date_text(date(2027, 1, 5))
    ('Thu 17 Dec', 'Tue 5 Jan 2027')
    """
    text = f"{day:%a} {day.day} {day:%b}"
    return text if today is not None and day.year == today.year else f"{text} {day.year}"
