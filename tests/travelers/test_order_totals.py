"""Totals of an order while it is typed: the same as release makes of it, whole and by system."""

import pytest

from fittings.models import Fitting
from tests import factories
from travelers.models import Task
from travelers.order_totals import order_totals_of
from travelers.release import order_release

pytestmark = pytest.mark.django_db
ELBOW = {"kind": "gored_elbow", "material": "galvanized", "gauge": "24", "end_a": "raw", "end_b": "raw"}
ELBOW |= {"diameter": "14", "angle": "90", "pieces": "5", "radius_ratio": "1.5"}


def typed(*lines):
    return {
        f"line-{at}-{name}": text for at, line in enumerate(lines) for name, text in {**ELBOW, **line}.items()
    }


def test_hours_are_those_of_the_tasks_that_release_makes(shop):
    order = factories.order(lines=[factories.line(quantity=3)])
    order_release(number=order.number, actor=factories.OFFICE_ACTOR, now=factories.NOW)
    minutes = sum(Task.objects.values_list("minutes", flat=True))
    whole = order_totals_of(typed({"quantity": "3"})).whole
    assert Fitting.objects.count() == whole.fittings == 3
    assert whole.minutes == pytest.approx(minutes, abs=0.01)
    assert minutes > 0


def test_weight_and_metal_of_a_pipe_by_hand(shop):
    """A pipe of 14 in, 24 gauge galvanized (0.0276 in), 48 in long.

    Net area: stretch-out π (14 + 0.0276) = 44.069 in, by 48 in = 2115.3 in² = 14.690 ft²; two are 29.38 ft².
    """
    pipe = {"kind": "pipe", "diameter": "14", "length": "48", "quantity": "2"}
    whole = order_totals_of(typed({**pipe, "angle": "", "pieces": "", "radius_ratio": ""})).whole
    assert whole.area == pytest.approx(2 * 3.14159265 * 14.0276 * 48, rel=1e-4)
    assert whole.area_text == "29.4 ft²"


def test_systems_are_added_up_apart(shop):
    totals = order_totals_of(
        typed(
            {"quantity": "2"},
            {"quantity": "4", "system": "Level 2"},
            {"quantity": "1", "system": " Level  2 "},
        )
    )
    assert [(one.name, one.lines, one.fittings) for one in totals.systems] == [("Level 2", 2, 5), ("", 1, 2)]
    assert sum(one.minutes for one in totals.systems) == pytest.approx(totals.whole.minutes)


def test_what_cannot_be_counted_is_named_and_blank_lines_are_passed(shop):
    blank = {"diameter": "", "angle": "", "pieces": "", "radius_ratio": ""}
    totals = order_totals_of(
        typed(
            {"quantity": "1"},
            {"quantity": "2", "diameter": "6000"},
            {"quantity": ""},
            blank,
            {"quantity": "x"},
        )
    )
    assert totals.whole.lines == 1
    assert [(prefix, number) for prefix, number, _ in totals.wrong] == [
        ("line-1", 2),
        ("line-2", 3),
        ("line-4", 5),
    ]
    assert "it can be 1 to 120 in." in totals.wrong[0][2]
    assert totals.wrong[1][2] == "No quantity yet."
    assert totals.wrong[2][2] == "Quantity is “x”; it can be a whole number from 1 to 10000."


def test_a_hundred_equal_lines_cost_two_queries_and_one_development(
    shop, django_assert_max_num_queries, monkeypatch
):
    from travelers import order_totals

    made = []
    work_of = order_totals.work_of
    monkeypatch.setattr(order_totals, "work_of", lambda *args: made.append(1) or work_of(*args))
    order_totals._each.cache_clear()
    data = typed(*[{"quantity": str(at + 1), "tag": f"T-{at}"} for at in range(100)])
    order_totals_of(data)
    with django_assert_max_num_queries(4):
        assert order_totals_of(data).whole.fittings == 5050  # 1 + 2 + … + 100
    assert len(made) == 1


def test_the_page_asks_for_a_fragment(office_page):
    answer = office_page.post("/orders/new/totals/", typed({"quantity": "3", "system": "Roof"}))
    text = answer.content.decode()
    assert answer.status_code == 200
    assert "Standard time" in text
    assert "Roof" in text
    assert '<li data-of="line-0" data-field="diameter">14 in = 14.000</li>' in text
