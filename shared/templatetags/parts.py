"""Template tags for the vocabulary of parts: state marks, codes, dimensions, times."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django import template
from django.utils import timezone
from django.utils.html import format_html, format_html_join
from django.utils.safestring import mark_safe

from shared.units import MM_PER_IN, NO_BREAK, decimal_text, fraction_text

register = template.Library()

STATE_WORDS = {
    "waiting": "Waiting",
    "ready": "Ready",
    "running": "Running",
    "held": "On hold",
    "done": "Done",
    "void": "Void",
    "scrapped": "Scrapped",
    "draft": "Draft",
    "open": "Open",
    "released": "Released",
    "cancelled": "Cancelled",
    "late": "Late",
    "piling": "Piling up",
    "offline": "No connection",
    "refused": "Refused",
    "act": "To do",
}
RESULT_WORDS = {
    "recorded": "Recorded",
    "kept": "Kept here, not sent",
    "already": "Already done",
    "refused": "Refused",
}


@register.simple_tag
def state_mark(state: str, word: str = "", large: bool = False) -> str:
    """Shape and word of a state. The shapes stand once on the page, in shared/_marks.html.

    state   a key of STATE_WORDS; anything else is drawn as "waiting" with its own word
    word    other words than the usual ("Late 2 days")
    """
    state = str(state)
    shape = state if state in STATE_WORDS else "waiting"
    return format_html(
        '<span class="state{}" data-state="{}">'
        '<svg class="state-shape" viewBox="0 0 24 24" aria-hidden="true"><use href="#mark-{}"/></svg>'
        '<span class="state-word">{}</span></span>',
        " state-large" if large else "",
        state,
        shape,
        word or STATE_WORDS.get(state) or state.replace("_", " ").capitalize(),
    )


@register.simple_tag
def shape(name: str, css: str = "state-shape") -> str:
    """A shape alone, for places that have the word beside it."""
    return format_html(
        '<svg class="{}" viewBox="0 0 24 24" aria-hidden="true"><use href="#mark-{}"/></svg>', css, name
    )


@register.filter
def result_word(result: str) -> str:
    return RESULT_WORDS.get(result, result)


@register.filter
def groups4(code: str) -> list[str]:
    """The code's characters in fours."""
    code = str(code or "")
    return [code[at : at + 4] for at in range(0, len(code), 4)]


@register.filter
def code4(code: str) -> str:
    """A code as people read it: grouped in fours by space alone, so that copying it gives the code itself."""
    return format_html(
        '<span class="code">{}</span>',
        format_html_join("", '<span class="code-group">{}</span>', ((part,) for part in groups4(code))),
    )


def _number(value) -> float | None:
    try:
        return float(value)
    except (TypeError, ValueError):
        return None


@register.filter
def inches(value, places: int = 3) -> str:
    """Fraction to 1/32 and decimal, where hand and machine meet: 44 1/16 in (44.070)."""
    number = _number(value)
    if number is None:
        return mark_safe("")
    return format_html(
        '<span class="dimension dimension-both"><span class="nowrap">{}&nbsp;in</span> '
        '<span class="dimension-exact">({})</span></span>',
        fraction_text(number).replace(" ", NO_BREAK),
        decimal_text(number, places),
    )


@register.filter
def fraction(value, denominator: int = 32) -> str:
    """Fraction alone, with its unit: 44 1/16 in."""
    number = _number(value)
    if number is None:
        return mark_safe("")
    return format_html(
        '<span class="dimension">{}&nbsp;in</span>',
        fraction_text(number, denominator).replace(" ", NO_BREAK),
    )


@register.filter
def decimal_inches(value, places: int = 3) -> str:
    """Decimal alone, with its unit: 44.070 in."""
    number = _number(value)
    return (
        mark_safe("")
        if number is None
        else format_html('<span class="dimension">{}&nbsp;in</span>', decimal_text(number, places))
    )


@register.filter
def millimetres(value_in, places: int = 1) -> str:
    """Inches shown in millimetres: 1119.4 mm."""
    number = _number(value_in)
    return (
        mark_safe("")
        if number is None
        else format_html('<span class="dimension">{}&nbsp;mm</span>', f"{number * MM_PER_IN:.{places}f}")
    )


@register.filter
def degrees(value) -> str:
    """Decimal degrees, no space before the sign: 22.5°."""
    number = _number(value)
    return "" if number is None else f"{number:.3f}".rstrip("0").rstrip(".") + "°"


@register.filter
def age(minutes) -> str:
    """A span of time as people say it: 45 s, 95 min, 3 h 20 min, 2 d 4 h. Takes minutes or a timedelta."""
    if isinstance(minutes, timedelta):
        minutes = minutes.total_seconds() / 60
    number = _number(minutes)
    if number is None:
        return ""
    if number < 1:
        return f"{max(0, round(number * 60))}{NO_BREAK}s"
    whole = round(number)
    if whole < 120:
        return f"{whole}{NO_BREAK}min"
    hours, rest = divmod(whole, 60)
    if hours < 24:
        return f"{hours}{NO_BREAK}h" + (f" {rest}{NO_BREAK}min" if rest else "")
    days, hours = divmod(round(whole / 60), 24)
    return f"{days}{NO_BREAK}d" + (f" {hours}{NO_BREAK}h" if hours else "")


@register.filter
def clock(at) -> str:
    """Wed 4 Mar, 13:02, in the shop's zone."""
    if not isinstance(at, datetime):
        return ""
    local = timezone.localtime(at) if timezone.is_aware(at) else at
    return f"{local:%a} {local.day} {local:%b}, {local:%H:%M}"


@register.filter
def day(on) -> str:
    """Thu 27 Nov; with the year when it is not this one."""
    if isinstance(on, datetime):
        on = timezone.localtime(on).date() if timezone.is_aware(on) else on.date()
    if not isinstance(on, date):
        return ""
    year = "" if on.year == timezone.localdate().year else f" {on.year}"
    return f"{on:%a} {on.day} {on:%b}{year}"


@register.filter
def is_check(field) -> bool:
    """The bound field is a single checkbox."""
    return getattr(field.field.widget, "input_type", "") == "checkbox" and not field.use_fieldset


@register.filter
def is_group(field) -> bool:
    """The bound field is several controls under one legend."""
    return bool(field.use_fieldset)
