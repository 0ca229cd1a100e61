"""The line of an order as it is typed: its fields follow the kind, its ends, what they join, its pressure class."""

import re

import pytest

from fittings import tables
from fittings.forms import LineForm, choices_of, end_label, joint_edges, line_initial, param_field
from fittings.geometry import KINDS, Param
from fittings.models import Order
from tests import factories

pytestmark = pytest.mark.django_db

ELBOW = {"quantity": "12", "diameter": "14 1/2", "angle": "90", "tag": "AHU-3"}
WYE = {
    "kind": "wye",
    "quantity": "2",
    "diameter": "14",
    "branch_diameter": "10",
    "angle": "45",
    "main_length": "20",
    "branch_length": "20",
}


@pytest.fixture
def choices(shop):
    return choices_of(tables.all_rows())


def typed(*lines, **head):
    data = {"customer": "Harbor Mechanical", "due": "17 Dec", "priority": "5", "act": "save", **head}
    data["lines"] = str(len(lines))
    usual = {"kind": "gored_elbow", "material": "galvanized", "gauge": "24", "end_a": "raw", "end_b": "raw"}
    for at, line in enumerate(lines):
        data |= {f"line-{at}-{name}": value for name, value in {**usual, **line}.items()}
    return data


def blank(kind: str, choices) -> LineForm:
    return LineForm(prefix="line-0", choices=choices, initial={"kind": kind})


# -- the fields of a kind ----------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_fields_follow_the_kind(choices, kind):
    form, shape = blank(kind, choices), KINDS[kind]
    assert [field.name for field in form.size_fields] == [
        param.name for param in shape.params if not param.more
    ]
    letters = [letter for letter, _ in shape.ends]
    assert [field.name for field in form.end_fields] == [f"end_{letter}" for letter in letters] + [
        "system",
        "tag",
    ]
    more = [field.name for field in form.more_fields]
    folded = [param.name for param in shape.params if param.more]
    joins = [f"joins_{letter}" for letter in letters if (kind, letter) != ("saddle", "a")]  # lies on a main
    assert more == [*folded, *joins, "pressure_class", "traveler_per"]
    added = [field.name for field in form.allowance_fields]
    assert added == ["allow_lap", "allow_edge_a", "allow_edge_b"] + [
        f"allow_end_{letter}" for letter in letters
    ]


@pytest.mark.parametrize("kind", KINDS)
def test_every_field_of_a_kind_says_what_it_means(choices, kind):
    form = blank(kind, choices)
    assert form["kind"].field.widget.attrs["title"] == KINDS[kind].help
    for param in KINDS[kind].params:
        assert form[param.name].field.widget.attrs["title"] == param.help, param.name


@pytest.mark.parametrize("kind", KINDS)
def test_a_blank_line_of_any_kind_is_blank_and_folded(choices, kind):
    assert not blank(kind, choices).has_more
    shown = {field.html_name: field.value() or "" for field in blank(kind, choices)}
    posted = LineForm({**shown, "line-0-kind": kind}, prefix="line-0", choices=choices)
    assert posted.is_blank
    assert not posted.has_more


@pytest.mark.parametrize("kind", KINDS)
def test_edges_are_called_gore_edges_only_on_elbows(choices, kind):
    word = "Gore edge A, in" if kind in ("gored_elbow", "reducing_elbow") else "Joint edge A, in"
    assert blank(kind, choices)["allow_edge_a"].label == word
    assert word.startswith(joint_edges(KINDS[kind]))


def test_defaults_stand_in_the_fields_as_hints(choices):
    found = {name: blank("reducer", choices)[name].field for name in ("offset", "seam_at")}
    assert found["offset"].widget.attrs["placeholder"] == "0"
    assert found["seam_at"].initial == "shortest"


def test_a_parameter_of_an_unknown_unit_is_a_plain_field(choices):
    field = param_field(Param("turns", "turn", 0, 9, default=2, help="How often."), choices)
    assert (field.sort, field.widget.attrs["placeholder"], field.label) == ("number", "2", "Turns")


def test_an_unknown_kind_shows_the_first_one(choices):
    form = LineForm({"line-0-kind": "teapot"}, prefix="line-0", choices=choices)
    assert form.shape.name == "gored_elbow"
    assert form.develop() is None
    assert "Kind is “teapot”" in form.errors["kind"][0]


def test_an_end_is_named_as_an_end():
    assert [end_label(title) for title in ("End A", "Run end B", "Branch", "Open end")] == [
        "End A",
        "Run end B",
        "Branch end",
        "Open end",
    ]


def test_the_page_carries_a_blank_line_of_every_kind(office_page):
    page = office_page.get("/orders/new/").content.decode()
    for kind in KINDS.values():
        assert f'<template data-kind="{kind.name}">' in page
        assert f'data-kind-help="{kind.help}"' in page


# -- ends, what they join, pressure class ------------------------------------


def test_they_are_saved_and_shown_again(office_page):
    told = {"end_a": "swage", "joins_a": "raw", "joins_b": "flange", "pressure_class": "−1.5"}
    assert office_page.post("/orders/new/", typed({**ELBOW, **told})).status_code == 302
    order = Order.objects.get()
    stored = order.lines.get()
    assert (stored.joins_a, stored.joins_b, stored.joins_c) == ("raw", "flange", "")
    assert stored.pressure_class == -1.5
    shown = line_initial(stored, "in")
    assert (shown["joins_a"], shown["pressure_class"], shown["end_c"]) == ("raw", "-1.5", "")
    page = office_page.get(f"/orders/{order.number}/edit/").content.decode()
    assert re.search('<details class="line-more" open>', page)
    assert re.search('name="line-0-pressure_class"[^>]* value="-1.5"', page)


def test_the_third_end_of_a_wye_is_saved(office_page):
    assert (
        office_page.post("/orders/new/", typed({**WYE, "end_c": "crimp", "joins_c": "crimp"})).status_code
        == 302
    )
    stored = Order.objects.get().lines.get()
    assert (stored.end_a, stored.end_c, stored.joins_c) == ("raw", "crimp", "crimp")


def test_an_end_that_the_kind_does_not_have_is_not_posted_on(office_page):
    """What a line carried over from a kind of three ends does not stand in the way."""
    assert (
        office_page.post("/orders/new/", typed({**ELBOW, "end_c": "crimp", "joins_c": "raw"})).status_code
        == 302
    )
    assert Order.objects.get().lines.get().end_c == ""


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("high", "Pressure class is “high”; it can be a number, 2 or -1."),
        ("0", "Pressure class is 0; it can be 0.1 to 50 in. w.g., or -50 to -0.1 below the room’s pressure."),
        ("50.5", "Pressure class is 50.5; it can be 0.1 to 50"),
        ("nan", "Pressure class is"),
    ],
)
def test_a_wrong_class_is_told_at_its_field(office_page, text, sentence):
    answer = office_page.post("/orders/new/", typed({**ELBOW, "pressure_class": text}))
    page = answer.content.decode()
    assert answer.status_code == 400
    assert f"Line 1: {sentence}" in page
    assert 'href="#id_line-0-pressure_class"' in page
    assert re.search('<details class="line-more" open>', page)
    assert not Order.objects.exists()


def test_an_unknown_neighbour_is_told_at_its_field(office_page):
    page = office_page.post("/orders/new/", typed({**ELBOW, "joins_b": "rope"})).content.decode()
    assert "Line 1: What end B joins is “rope”; it can be raw, flange," in page


def test_the_preview_warns_of_ends_that_do_not_go_together(office_page):
    line = {
        **ELBOW,
        "kind": "gored_elbow",
        "material": "galvanized",
        "gauge": "24",
        "end_a": "swage",
        "end_b": "raw",
    }
    line |= {"joins_a": "crimp"}
    data = {f"line-{name}": value for name, value in line.items()}
    page = office_page.post("/orders/new/preview/", data).content.decode()
    assert "End A (swaged) goes inside the next piece, and so does the end that it joins (crimped)." in page


def test_the_page_of_a_line_shows_its_ends_as_finished(office_page):
    lines = [factories.line(end_a="swage", joins_a="swage", pressure_class=2)]
    order = factories.order(number="7", lines=lines)
    page = office_page.get(f"/orders/{order.number}/lines/1/").content.decode()
    assert "Ends as finished" in page
    assert ": does not go together" in page
    assert "13 31/32 in (13.969)" in page.replace("\N{NO-BREAK SPACE}", " ")  # 14 less 1/32
    assert "2 in. w.g." in page


def test_a_new_line_carries_the_ends_that_its_kind_has(office_page):
    """Without script: from an end cap, which has one end."""
    cap = {"kind": "end_cap", "quantity": "1", "diameter": "14", "depth": "1", "end_a": "flange"}
    page = office_page.post("/orders/new/", typed(cap, act="add")).content.decode()
    assert page.count('<option value="flange" selected>') == 2
