"""The template tags of the vocabulary, and the page that shows it."""

import re
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from django.template import engines
from django.template.loader import render_to_string
from django.test import override_settings
from django.utils.html import strip_tags

from shared.patterns import patterns_context
from shared.pile import pile
from shared.templatetags import parts
from shared.units import NO_BREAK

SHARED = Path(__file__).resolve().parents[2] / "shared"


def words(html: str) -> str:
    return strip_tags(html).replace("&nbsp;", " ").replace(NO_BREAK, " ")


def test_every_state_has_its_own_shape_and_word():
    shapes = (SHARED / "templates/shared/_marks.html").read_text()
    drawn = dict(re.findall(r'<symbol id="mark-([\w-]+)"[^>]*>(.*?)</symbol>', shapes))
    assert set(parts.STATE_WORDS) | set(parts.RESULT_WORDS) <= set(drawn)
    assert len({drawn[state] for state in parts.STATE_WORDS}) == len(parts.STATE_WORDS)
    assert len({drawn[result] for result in parts.RESULT_WORDS}) == len(parts.RESULT_WORDS)
    assert len(set(parts.STATE_WORDS.values())) == len(parts.STATE_WORDS)


def test_state_mark_has_shape_and_word_and_escapes_the_word():
    html = parts.state_mark("late", "Late <2 days>")
    assert 'data-state="late"' in html and "#mark-late" in html and "Late &lt;2 days&gt;" in html


def test_unknown_state_keeps_its_own_word():
    html = parts.state_mark("leak_test")
    assert "#mark-waiting" in html and "Leak test" in html


def test_code_is_grouped_in_fours_and_copies_as_itself():
    assert strip_tags(parts.code4("R70042PB")) == "R70042PB"
    assert parts.groups4("R70042PBX7") == ["R700", "42PB", "X7"]


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (44.07, "44 1/16 in (44.070)"),
        (0.25, "1/4 in (0.250)"),
        ("14", "14 in (14.000)"),
        (None, ""),
        ("x", ""),
    ],
)
def test_inches_show_fraction_and_decimal(value, text):
    assert words(parts.inches(value)) == text


def test_single_lengths_and_angles_keep_their_unit():
    assert words(parts.fraction(8.25)) == "8 1/4 in"
    assert words(parts.decimal_inches(8.25)) == "8.250 in"
    assert words(parts.millimetres(14)) == "355.6 mm"
    assert parts.degrees(22.5) == "22.5°"


@pytest.mark.parametrize(
    ("span", "text"),
    [
        (0.5, "30 s"),
        (95, "95 min"),
        (200, "3 h 20 min"),
        (180, "3 h"),
        (1620, "1 d 3 h"),
        (timedelta(days=2), "2 d"),
        (None, ""),
    ],
)
def test_age_is_said_as_people_say_it(span, text):
    assert parts.age(span).replace(NO_BREAK, " ") == text


@override_settings(TIME_ZONE="America/Chicago")
def test_times_are_in_the_shops_zone_with_the_month_as_a_word():
    assert parts.clock(datetime(2026, 3, 4, 19, 2, tzinfo=UTC)) == "Wed 4 Mar, 13:02"
    assert parts.day(date(2019, 3, 4)) == "Mon 4 Mar 2019"


def test_a_slat_across_the_line_is_cut_at_it():
    shapes = pile([(2, "running", "a"), (2, "ready", "b")], clears_hours=3, scale_hours=5)
    assert [(slat.y, slat.height, slat.css) for slat in shapes.slats] == [
        (30, 20, "slat is-running"),
        (20, 10, "slat"),
        (10, 10, "slat is-over"),
    ]
    assert shapes.line_y == 20 and shapes.is_over


def test_a_pile_without_a_station_is_never_over():
    shapes = pile([(9, "ready", "")], clears_hours=None, scale_hours=10)
    assert shapes.line_y is None and not shapes.is_over


FRAME = {
    "frame-actor",
    "frame-find",
    "frame-find-first",
    "frame-find-key",
    "frame-own",
}  # of who is signed in
NOT_DRAWN = {
    "_export.html",
    "_find.html",
    "_htmx.html",
    "_marks.html",
}  # of a list, of the frame, without a look
SHARED_CSS = ("base", "parts", "board")


def shared_css(name: str) -> str:
    return (SHARED / f"static/shared/{name}.css").read_text()


@pytest.fixture
def pattern_page(db, rf) -> str:
    return render_to_string("shared/patterns.html", patterns_context(), request=rf.get("/patterns/"))


def classes_of(html: str) -> set[str]:
    return {one for held in re.findall(r'class="([^"]*)"', html) for one in held.split()}


def test_pattern_page_shows_every_class_of_the_shared_sheets(pattern_page):
    for place in ("office", "tablet", "tv"):
        assert f'data-place="{place}"' in pattern_page
    declared = set()
    for name in SHARED_CSS:
        rules = re.sub(r"/\*.*?\*/", "", shared_css(name), flags=re.S)
        declared |= set(re.findall(r"\.([a-z][a-z0-9-]*)", " ".join(re.findall(r"([^{}]*)\{", rules))))
    assert len(declared) > 100
    assert declared - classes_of(pattern_page) - FRAME == set()


def test_pattern_page_shows_every_partial_and_the_list_of_parts_names_it():
    folder = SHARED / "templates/shared"
    shown = (folder / "_patterns_place.html").read_text() + (folder / "patterns.html").read_text()
    partials = {path.name for path in folder.glob("_*.html")}
    drawn = set(re.findall(r"shared/(_\w+\.html)", shown))
    assert partials - drawn - NOT_DRAWN == set()
    words = shared_css("base").split("*/")[0]
    own = {"_patterns_place.html", "_drawing_sample.html", "_drawing_lines.html"}
    assert {name for name in partials - own if not re.search(rf"\b{name[:-5]}\b", words)} == set()


def test_pattern_page_has_no_inline_script_or_style_and_each_id_once(pattern_page):
    assert not re.search(r"\sstyle=|<style|<script(?![^>]*\bsrc=)|\son\w+=", pattern_page)
    identifiers = re.findall(r'\sid="([^"]+)"', pattern_page)
    assert len(identifiers) == len(set(identifiers))


def test_a_class_of_the_shared_sheets_is_used_somewhere():
    """A part that no page has is taken out."""
    used = "".join(
        path.read_text()
        for package in ("shared", "fittings", "travelers", "shopfloor")
        for pattern in ("templates/**/*.html", "static/**/*.js", "**/*.py")
        for path in (SHARED.parent / package).rglob(pattern)
        if "patterns" not in path.name and "vendor" not in path.parts
    )
    for name in SHARED_CSS:
        rules = re.sub(r"/\*.*?\*/", "", shared_css(name), flags=re.S)
        for one in set(re.findall(r"\.([a-z][a-z0-9-]*)", " ".join(re.findall(r"([^{}]*)\{", rules)))):
            word = one.removeprefix("is-").removeprefix("field-")
            assert re.search(rf"(?<![\w-]){word}(?![\w-])|(?<![\w-]){one}(?![\w-])", used), (
                f"{name}.css: .{one}"
            )


def test_no_template_of_ours_has_inline_script_or_style():
    for path in SHARED.rglob("templates/**/*.html"):
        assert not re.search(r"\sstyle=|<style|<script(?![^>]*\bsrc=)|\son\w+=", path.read_text()), path.name


def test_field_error_is_tied_to_its_input():
    form = patterns_context()["places"][0]["form"]
    template = engines["django"].from_string(
        '{% include "shared/_errors.html" %}{% include "shared/_field.html" with field=form.diameter %}'
    )
    html = template.render({"form": form})
    assert 'href="#id_office-diameter"' in html
    assert 'id="id_office-diameter_error"' in html
    assert re.search(r'aria-describedby="id_office-diameter_helptext id_office-diameter_error"', html)
