"""POST /nest/ places parts on stock and stores nothing; the answer is proven as a client reads it, by shapely alone."""

import copy
import json
import math
import time

import numpy as np
import pytest
from shapely import Polygon
from shapely.affinity import affine_transform

from fittings.models import CutPlan, KeptAnswer, Order, StockItem
from tests.fittings.cutting.instances import disc, gores_alternating, rectangle

EXAMPLE = {
    "unit": "in",
    "gap": 0.125,
    "margin": 0.25,
    "rotations": "any",
    "seconds": 1,
    "seed": 1,
    "stock": [{"name": "60x120", "width": 60, "length": 120, "count": None}],
    "parts": [{"id": "A", "count": 40, "outline": [[0, 0], [38.2, 0], [38.2, 4.1], [0, 4.1]]}],
}


def asked(**changes):
    return copy.deepcopy(EXAMPLE) | changes


def part(id_="A", count=1, outline=None, **more):
    points = np.asarray(rectangle(10, 5) if outline is None else outline).tolist()
    return {"id": id_, "count": count, "outline": points, **more}


def shape(body, placement):
    given = next(one for one in body["parts"] if one["id"] == placement["id"])
    outline = given["outline"]
    if placement.get("alternative"):
        outline = given["alternatives"][placement["alternative"] - 1]
    turn = math.radians(placement["rotation"])
    cos, sin = math.cos(turn), math.sin(turn)
    return affine_transform(Polygon(outline), [cos, -sin, sin, cos, placement["x"], placement["y"]])


def check(body, answer):
    """What the contract promises of an answer."""
    slack = 1e-6 * (25.4 if body["unit"] == "mm" else 1)
    stock = {one["name"]: one for one in body["stock"]}
    count = dict.fromkeys((one["id"] for one in body["parts"]), 0)
    lengths, total = {}, 0.0
    for sheet in answer["sheets"]:
        on = stock[sheet["stock"]]
        shapes = [shape(body, one) for one in sheet["placements"]]
        for one in sheet["placements"]:
            count[one["id"]] += 1
            allowed = {"any": None, "half": (0, 180), "none": (0,)}[body["rotations"]]
            assert allowed is None or one["rotation"] % 360 in allowed
        bounds = np.array([one.bounds for one in shapes])
        assert bounds[:, :2].min() >= body["margin"] - slack
        assert bounds[:, 2].max() <= on["length"] - body["margin"] + slack
        assert bounds[:, 3].max() <= on["width"] - body["margin"] + slack
        for at, first in enumerate(shapes):
            for second in shapes[:at]:
                assert first.distance(second) >= body["gap"] - slack
                assert body["gap"] > slack or first.intersection(second).area < 1e-6
        used = min(on["length"], bounds[:, 2].max() + body["margin"])
        assert sheet["used_length"] == pytest.approx(used, abs=slack)
        own = sum(one.area for one in shapes)
        whole = on["width"] * (used if on.get("coil") else on["length"])
        assert sheet["utilisation"] == pytest.approx(own / whole, abs=1e-9)
        total += own
        lengths.setdefault(sheet["stock"], []).append(used)
    for one in answer["unplaced"]:
        assert one["why"].endswith(".")
        count[one["id"]] += one["count"]
    assert count == {one["id"]: one["count"] for one in body["parts"]}
    area = 0.0
    for name, used in lengths.items():
        one = stock[name]
        assert one.get("count") is None or len(used) <= one["count"]
        full = sum(used) if one.get("coil") else min(used) + (len(used) - 1) * one["length"]
        area += one["width"] * full
    assert answer["utilisation"] == pytest.approx(total / area if area else 0.0, abs=1e-6)
    assert answer["utilisation"] <= answer["bound"] <= 1
    return answer


def nested(caller, body):
    answer = caller.post("nest/", body)
    assert answer.status_code == 200, answer.content
    return check(body, answer.json())


def refused(caller, body):
    raw = json.dumps(body).encode()
    start = time.process_time()  # what others do on the machine does not count
    answer = caller.call("POST", "nest/", raw=raw)
    assert time.process_time() - start < 1.0
    assert answer.status_code == 400, answer.content
    return {one["field"]: one for one in answer.json()["errors"]}


def test_the_example_of_the_contract(office):
    nested(office, asked(seconds=0.1))  # the inner loops are compiled once
    answer = nested(office, asked(seconds=4))
    assert answer["unit"] == "in" and not answer["unplaced"]
    assert {one["stock"] for one in answer["sheets"]} == {"60x120"}
    # three columns of fourteen strips use 3 x 38.2 + 2 x 0.125 + 2 x 0.25 of one sheet: 0.905
    assert answer["utilisation"] > 0.9


def test_nothing_is_stored(office):
    before = [model.objects.count() for model in (Order, StockItem, CutPlan, KeptAnswer)]
    nested(office, EXAMPLE)
    assert [model.objects.count() for model in (Order, StockItem, CutPlan, KeptAnswer)] == before


def test_what_is_left_out_is_usual(office):
    body = {key: EXAMPLE[key] for key in ("stock", "parts")} | {"seconds": 0.5}
    answer = office.post("nest/", body)
    assert answer.status_code == 200
    check(asked(), answer.json())


def test_millimetres_in_and_out(office):
    body = asked(
        unit="mm",
        gap=3,
        margin=6,
        stock=[{"name": "sheet", "width": 1250, "length": 2500, "count": 3}],
        parts=[part(count=30, outline=rectangle(600, 140)), part("big", 1, rectangle(3000, 400))],
    )
    answer = nested(office, body)
    assert answer["unit"] == "mm"
    assert answer["unplaced"] == [
        {
            "id": "big",
            "count": 1,
            "why": "big is 3000 × 400 mm; the largest stock takes 2488 × 1238 mm. "
            "In plates it would be 2 of 1500 × 400 mm.",
        }
    ]


@pytest.mark.parametrize("turns", ["any", "half", "none"])
def test_turns_gap_and_margin_are_kept(office, turns):
    rng = np.random.default_rng(4)
    parts = [part(f"p{at}", 3, rectangle(*(3 + 20 * rng.random(2)))) for at in range(6)]
    parts.append(part("disc", 5, disc(9)))
    nested(office, asked(rotations=turns, gap=0.5, margin=1.0, parts=parts))


def test_gores_of_an_order_on_sheets_coil_and_remnants(office):
    parts = [part(one.id, min(one.count, 6), one.outline) for one in gores_alternating().parts]
    stock = [
        {"name": "coil", "width": 48, "length": 240, "coil": True},
        {"name": "remnant", "width": 30, "length": 50, "count": 1},
        {"name": "sheet", "width": 48, "length": 96, "count": 2},
    ]
    answer = nested(office, asked(parts=parts, stock=stock, seconds=3))
    assert not answer["unplaced"]


def test_no_gap_and_no_margin_are_taken(office):
    body = asked(gap=0, margin=0, parts=[part(count=8, outline=rectangle(30, 30))])
    answer = nested(office, body)
    assert answer["utilisation"] == pytest.approx(1.0) and answer["bound"] == pytest.approx(1.0)


def test_an_alternative_is_named_where_it_is_taken(office):
    tall = rectangle(10, 70)  # goes on no sheet by its grain; the other outline does
    body = asked(rotations="none", parts=[part(outline=tall, alternatives=[rectangle(70, 10).tolist()])])
    answer = office.post("nest/", body).json()
    placed = [one for sheet in answer["sheets"] for one in sheet["placements"]]
    assert [one.get("alternative") for one in placed] == [1] or answer["unplaced"]
    check(body, answer)


def test_an_outline_may_run_either_way_and_be_closed(office):
    clockwise = rectangle(10, 5)[::-1].tolist()
    body = asked(parts=[part("A", 4, clockwise), part("B", 4, [*clockwise, clockwise[0]])])
    assert not nested(office, body)["unplaced"]


def test_stock_that_does_not_do_is_told(office):
    answer = nested(office, asked(stock=[{"name": "one", "width": 20, "length": 45, "count": 1}]))
    assert answer["unplaced"][0]["why"] == "The stock that it goes on has run out: one."
    nothing = nested(office, asked(stock=[{"name": "none", "width": 60, "length": 120, "count": 0}]))
    assert nothing["sheets"] == [] and nothing["utilisation"] == 0


def test_it_answers_when_the_time_is_spent(office):
    body = asked(seconds=2, parts=[part(one.id, one.count, one.outline) for one in gores_alternating().parts])
    nested(office, asked(seconds=0.1))  # compiled
    start = time.perf_counter()
    nested(office, body)
    assert time.perf_counter() - start < 8


@pytest.mark.parametrize("role", ["office", "supervisor", "operator", "display"])
def test_every_role_may_ask(api_as, role):
    body = asked(seconds=0.1, parts=[part()])
    assert api_as(role).post("nest/", body).status_code == 200


def test_nobody_may_not(api_as):
    assert api_as("").post("nest/", asked()).status_code == 401


@pytest.mark.parametrize(
    ("changes", "field", "limit"),
    [
        ({"unit": "ft"}, "unit", "in, mm"),
        ({"gap": -0.1}, "gap", "0 to 12 in"),
        ({"gap": 13}, "gap", "0 to 12 in"),
        ({"gap": 1e300}, "gap", "0 to 12 in"),
        ({"gap": "wide"}, "gap", "0 to 12 in"),
        ({"gap": True}, "gap", "0 to 12 in"),
        ({"margin": -1}, "margin", "0 to 24 in"),
        ({"margin": 24.5}, "margin", "0 to 24 in"),
        ({"unit": "mm", "margin": 700}, "margin", "0 to 609.6 mm"),
        ({"rotations": "some"}, "rotations", "any, half, none"),
        ({"seconds": 0}, "seconds", "0.1 to 300 s"),
        ({"seconds": 301}, "seconds", "0.1 to 300 s"),
        ({"seed": 1.5}, "seed", "a whole number from 0 to 2147483647"),
        ({"stock": []}, "stock", "a list of 1 to 100 sizes"),
        ({"stock": {"name": "x"}}, "stock", "a list of 1 to 100 sizes"),
        ({"parts": []}, "parts", "a list of 1 to 20000 parts"),
        ({"parts": None}, "parts", "a list of 1 to 20000 parts"),
        ({"parts": [7]}, "parts[0]", "an object"),
        ({"kerf": 1}, "kerf", "unit, gap, margin, rotations, seconds, seed, stock, parts"),
        ({"parts": [part(count=0)]}, "parts[0].count", "a whole number from 1 to 20000"),
        ({"parts": [part(count=20001)]}, "parts[0].count", "a whole number from 1 to 20000"),
        ({"parts": [part(count=15000), part("B", 6000)]}, "parts", "at most 20000"),
        ({"parts": [part(""), part("B")]}, "parts[0].id", "a text of 1 to 80 characters"),
        ({"parts": [part(), part()]}, "parts.id", "each once"),
        (
            {"parts": [part(outline=[[0, 0], [1, 1]])]},
            "parts[0].outline",
            "a list of 3 to 5000 points [x, y]",
        ),
        ({"parts": [part() | {"outline": [[0, 0], [1, 0], [2]]}]}, "parts[0].outline[2]", "[x, y]"),
        ({"parts": [part() | {"outline": [[0, 0], [1, 0], [1, 1e9]]}]}, "parts[0].outline[2]", "12000"),
        (
            {"parts": [part(outline=[[0, 0], [2, 2], [2, 0], [0, 2]])]},
            "parts[0].outline",
            "a simple closed outline",
        ),
        ({"parts": [part(outline=[[0, 0], [2, 2], [4, 4]])]}, "parts[0].outline", "a simple closed outline"),
        ({"parts": [part(outline=[[1, 1], [1, 1], [1, 1]])]}, "parts[0].outline", "3 points or more"),
        ({"parts": [part(alternatives=[[[0, 0]]])]}, "parts[0].alternatives[0]", "a list of 3"),
        ({"parts": [part(alternatives=4)]}, "parts[0].alternatives", "a list of at most 8"),
    ],
)
def test_a_wrong_field_is_named_with_its_limit(office, changes, field, limit):
    errors = refused(office, asked(**changes))
    assert field in errors
    assert limit in errors[field]["limit"]
    assert errors[field]["message"].endswith(".")


@pytest.mark.parametrize(
    ("stock", "field"),
    [
        ({"name": "s", "width": 0, "length": 10}, "stock[0].width"),
        ({"name": "s", "width": 10}, "stock[0].length"),
        ({"name": "s", "width": 10, "length": -5}, "stock[0].length"),
        ({"name": "s", "width": 10, "length": 1e7}, "stock[0].length"),
        ({"name": "s", "width": 10, "length": 10, "count": -1}, "stock[0].count"),
        ({"name": "s", "width": 10, "length": 10, "coil": "yes"}, "stock[0].coil"),
        ({"name": "s", "width": 10, "length": 10, "colour": "red"}, "stock[0].colour"),
        ({"width": 10, "length": 10}, "stock[0].name"),
        ({"name": "s", "width": 0.5, "length": 10}, "margin"),
    ],
)
def test_bad_stock_is_named(office, stock, field):
    assert field in refused(office, asked(stock=[stock]))


def test_every_wrong_field_is_named_at_once(office):
    errors = refused(office, asked(gap=-1, seconds=0, stock=[{"name": "s", "width": 0, "length": 10}]))
    assert {"gap", "seconds", "stock[0].width"} <= set(errors)


def test_no_number_and_too_much_are_refused_at_once(office):
    raw = json.dumps(asked()).replace("0.125", "NaN").encode()
    assert office.call("POST", "nest/", raw=raw).status_code == 400
    raw = json.dumps(asked()).replace("38.2", "1e999").encode()
    assert office.call("POST", "nest/", raw=raw).status_code == 400
    long = json.dumps(asked(parts=[part(outline=disc(9, 5000))] * 30)).encode()
    assert len(long) > 2 * 1024 * 1024
    start = time.process_time()
    assert office.call("POST", "nest/", raw=long).status_code == 413
    assert time.process_time() - start < 1.0


def test_the_longest_body_is_refused_within_a_second(office):
    wrong = part(outline=disc(9, 4990))
    body = asked(parts=[wrong | {"id": f"p{at}", "count": 0} for at in range(9)])
    assert len(refused(office, body)) == 9
    many = asked(parts=[part(f"p{at}", 0) for at in range(20000)])
    assert 1.5e6 < len(json.dumps(many)) < 2 * 1024 * 1024
    assert len(refused(office, many)) == 100
