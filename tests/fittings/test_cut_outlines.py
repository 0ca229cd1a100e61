"""Patterns with another seam place: the same metal, cut open elsewhere; developed by the order's own tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely.affinity import translate
from shapely.geometry import Polygon, box
from shapely.ops import unary_union

from fittings import cut_outlines, tables
from fittings.cut_outlines import piece_pattern, seam_choices, seam_ordered
from fittings.models import OrderLine
from tests import factories
from travelers.release import order_release

pytestmark = pytest.mark.usefixtures("shop")


def line(**changes) -> OrderLine:
    """A line of a released order."""
    given = factories.line(quantity=1, **changes)
    order = factories.order(lines=[given])
    order_release(number=order.number, actor=factories.OFFICE_ACTOR, now=factories.NOW)
    return OrderLine.objects.select_related("order").get(order=order)


def elbow(**params) -> OrderLine:
    return line(params=factories.elbow_params(**params))


def test_without_another_seam_the_pattern_is_the_frozen_one():
    made = elbow()
    for position, segment in enumerate(made.development["segments"], start=1):
        assert piece_pattern(made, position, 0, "") == segment


@pytest.mark.parametrize(
    ("ordered", "others"), [("heel", ["throat"]), ("throat", ["heel"]), ("side", ["throat", "heel"])]
)
def test_a_gore_may_have_its_seam_at_throat_or_heel(ordered, others):
    made = elbow(seam_at=ordered)
    assert seam_ordered(made) == ordered
    for position in range(1, 6):
        found = seam_choices(made, position, 0)
        assert list(found) == others
        for place, pattern in found.items():
            assert pattern["seam_at"] == place


def test_another_seam_place_shifts_the_pattern_and_keeps_the_metal():
    made = elbow()
    for position in range(1, 6):
        ordered = piece_pattern(made, position, 0, "")
        other = piece_pattern(made, position, 0, "throat")
        assert other["stretch_out"] == ordered["stretch_out"]
        around = ordered["stretch_out"]
        one, two = Polygon(ordered["net_outline"]), Polygon(other["net_outline"])
        assert two.area == pytest.approx(one.area, rel=1e-4)
        # half a turn further round, what runs out at one end comes in at the other
        turned = [translate(one, shift) for shift in (around / 2, -around / 2)]
        again = unary_union(turned).intersection(box(0, -99, around, 99))
        lifted = translate(again, 0, two.bounds[1] - again.bounds[1])
        assert lifted.symmetric_difference(two).area < 0.001 * two.area
        assert Polygon(other["cut_outline"]).area == pytest.approx(
            Polygon(ordered["cut_outline"]).area, rel=0.01
        )


def test_a_gore_of_a_seam_at_the_throat_is_longest_in_its_middle():
    """At x = 0 is the seam: the edge there is the throat's, the middle of the pattern is at the heel (definition)."""
    made = elbow()
    pattern = piece_pattern(made, 2, 0, "throat")
    net = np.array(pattern["net_outline"])
    middle = net[np.abs(net[:, 0] - pattern["stretch_out"] / 2) < 0.2]
    assert np.ptp(middle[:, 1]) == pytest.approx(pattern["heel"], abs=0.02)
    first = net[net[:, 0] < 1e-6]
    assert np.ptp(first[:, 1]) == pytest.approx(pattern["throat"], abs=0.01)
    assert pattern["heel"] == pytest.approx(2 * (21 + 7.0138) * math.tan(math.radians(11.25)), abs=0.01)


def test_where_the_order_staggers_or_the_kind_has_no_choice_there_is_none():
    staggered = elbow(stagger_seams=True)
    assert [seam_choices(staggered, position, 0) for position in range(1, 6)] == [{}] * 5
    reducer = line(kind="reducer", params={"diameter_a": 14, "diameter_b": 10, "length": 12})
    assert (seam_choices(reducer, 1, 0), seam_ordered(reducer)) == ({}, "")


def test_plates_have_no_choice_and_their_own_outline():
    large = elbow(diameter=60, pieces=3)
    plates = large.development["segments"][0]["plates"]
    for number, plate in enumerate(plates, start=1):
        assert piece_pattern(large, 1, number, "") == plate
        assert seam_choices(large, 1, number) == {}
    assert seam_choices(large, 1, 0) == {}


def test_the_tables_of_the_order_count_not_those_in_force_now():
    made = elbow()
    before = piece_pattern(made, 1, 0, "throat")["cut_outline"]
    doubled = [{**row, "amount_in": 2 * row["amount_in"]} for row in tables.rows("allowances")]
    tables.save(
        name="allowances",
        new_rows=doubled,
        seen=None,
        note="",
        actor=factories.OFFICE_ACTOR,
        now=factories.NOW,
    )
    cut_outlines._development.cache_clear()
    assert piece_pattern(made, 1, 0, "throat")["cut_outline"] == before
    assert piece_pattern(elbow(), 1, 0, "throat")["cut_outline"] != before
