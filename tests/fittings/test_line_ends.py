"""The ends of a line, what they join, and its pressure class: in and out over HTTP, judged, frozen at release."""

import csv

import pytest
from django.conf import settings
from django.utils import timezone

from fittings import tables
from fittings.developing import allowances_for, develop_for, development_answer, words_of
from fittings.geometry import KINDS
from fittings.models import Order, OrderLine, TableVersion
from tests.factories import OFFICE_ACTOR, elbow_params, line, order, order_body

PRESSURE_LIMIT = "0.1 to 50 in. w.g., or -50 to -0.1 below the room’s pressure"
WYE = {"kind": "wye", "params": {"diameter": 14, "branch_diameter": 10, "angle": 45}}
DEFER = "Local codes and the project's specification decide."


def develop_body(**changes):
    named = ("kind", "material", "gauge", "params", "end_a", "end_b")
    return {name: value for name, value in line().items() if name in named} | changes


def codes(body) -> list[str]:
    return [warned["code"] for warned in body["warnings"]]


# -- in and out --------------------------------------------------------------


def test_a_line_keeps_what_its_ends_join_and_its_class(office):
    told = {"end_a": "swage", "joins_a": "raw", "joins_b": "flange", "pressure_class": -1}
    body = office.post("orders/", order_body(lines=[line(**told)])).json()
    assert {name: body["lines"][0][name] for name in told} == told
    stored = OrderLine.objects.get()
    assert (stored.joins_a, stored.joins_b, stored.joins_c, stored.pressure_class) == (
        "raw",
        "flange",
        "",
        -1.0,
    )
    assert office.get("orders/1001/").json() == body


def test_left_out_they_are_blank(office):
    shown = office.post("orders/", order_body()).json()["lines"][0]
    names = ("end_c", "joins_a", "joins_b", "joins_c", "pressure_class")
    assert [shown[name] for name in names] == ["", "", "", "", None]


def test_null_counts_as_left_out(office):
    names = ("end_a", "end_b", "end_c", "joins_a", "joins_b", "joins_c", "pressure_class")
    answer = office.post("orders/", order_body(lines=[line(**dict.fromkeys(names))]))
    assert answer.status_code == 201
    assert (answer.json()["lines"][0]["end_a"], answer.json()["lines"][0]["joins_a"]) == ("raw", "")


def test_a_change_of_them_is_a_version_and_is_recorded(office):
    body = office.post("orders/", order_body()).json()
    changed = [{**body["lines"][0], "joins_b": "crimp", "pressure_class": 2}]
    answer = office.patch("orders/1001/", {"version": 1, "lines": changed}).json()
    assert (answer["version"], answer["lines"][0]["joins_b"], answer["lines"][0]["pressure_class"]) == (
        2,
        "crimp",
        2,
    )
    assert list(Order.objects.get().changes.get().fields) == ["lines"]
    same = office.patch("orders/1001/", {"version": 2, "lines": answer["lines"]}).json()
    assert same["version"] == 2


def test_the_same_key_with_another_class_is_another_request(office):
    first = office.call("POST", "orders/", order_body(), idempotency_key="k1")
    other = office.call("POST", "orders/", order_body(lines=[line(pressure_class=2)]), idempotency_key="k1")
    assert (first.status_code, other.status_code) == (201, 422)


# -- refusals ----------------------------------------------------------------


@pytest.mark.parametrize("value", [0.1, 50, -0.1, -50, 0.5, -1.5])
def test_a_class_within_its_limits_is_taken(office, value):
    answer = office.post("develop/", develop_body(pressure_class=value))
    assert answer.status_code == 200


@pytest.mark.parametrize("value", [0, 0.0999, -0.0999, 50.01, -50.01, 1e9, "2", True, "high"])
def test_a_class_outside_its_limits_is_refused(office, value):
    answer = office.post("orders/", order_body(lines=[line(pressure_class=value)]))
    assert answer.status_code == 400
    (error,) = answer.json()["errors"]
    assert (error["field"], error["value"], error["limit"]) == (
        "lines[0].pressure_class",
        value,
        PRESSURE_LIMIT,
    )
    assert error["message"].startswith("Pressure class is ")
    assert not Order.objects.exists()


@pytest.mark.parametrize("field", ["joins_a", "joins_b"])
@pytest.mark.parametrize("value", ["rope", "Raw", 7, True])
def test_an_unknown_neighbour_is_refused(office, field, value):
    answer = office.post("develop/", develop_body(**{field: value}))
    assert answer.status_code == 400
    (error,) = answer.json()["errors"]
    assert (error["field"], error["value"]) == (field, value)
    assert error["limit"] == "raw, flange, swage, crimp, hem, slip, ring"
    assert error["message"].startswith(f"What end {field[-1].upper()} joins is ")


@pytest.mark.parametrize("field", ["end_c", "joins_c"])
def test_an_end_that_the_kind_does_not_have_is_refused(office, field):
    answer = office.post("develop/", develop_body(**{field: "flange"}))
    assert answer.status_code == 400
    (error,) = answer.json()["errors"]
    assert (error["field"], error["value"], error["limit"]) == (field, "flange", "left out")
    assert error["message"].endswith("is “flange”; the kind gored elbow has no end C.")


@pytest.mark.parametrize("value", ["rope", 7, ["raw"]])
def test_an_unknown_finish_of_the_third_end_is_refused(office, value):
    answer = office.post("develop/", develop_body(**WYE, end_c=value))
    assert answer.status_code == 400
    assert "end_c" in [error["field"] for error in answer.json()["errors"]]


def test_all_wrong_fields_are_named_at_once(office):
    wrong = develop_body(
        gauge=99, joins_a="rope", pressure_class=0, end_b="x", params=elbow_params(angle=200)
    )
    fields = {error["field"] for error in office.post("develop/", wrong).json()["errors"]}
    assert fields == {"gauge", "joins_a", "pressure_class", "end_b", "params.angle"}


@pytest.mark.parametrize("field", ["joins_a", "end_a", "pressure_class"])
@pytest.mark.parametrize("value", [[], {}, ["raw"]])
def test_what_is_no_text_or_number_is_refused(office, field, value):
    answer = office.post("develop/", develop_body(**{field: value}))
    assert answer.status_code == 400
    assert [error["field"] for error in answer.json()["errors"]] == [field]


# -- the ends as they are finished --------------------------------------------


def test_the_answer_tells_each_end_as_finished(office):
    body = office.post("develop/", develop_body(end_a="swage", end_b="flange", joins_a="raw")).json()
    first, second = body["ends"]
    assert list(first) == [
        "end",
        "title",
        "finish",
        "goes",
        "inside_diameter",
        "outside_diameter",
        "girth",
        "length",
        "joins",
        "fits",
        "note",
    ]
    assert (first["end"], first["finish"], first["goes"], first["joins"], first["fits"]) == (
        "a",
        "swage",
        "inside",
        "raw",
        True,
    )
    assert first["outside_diameter"] == pytest.approx(
        14 - 1 / 32, abs=1e-4
    )  # 1/32 in under the next piece's inside
    assert first["length"] == 1.5  # its allowance
    assert (second["end"], second["goes"], second["fits"], second["joins"]) == ("b", "face", None, "")
    assert second["outside_diameter"] == pytest.approx(14 + 2 * 0.0276 + 2 * 0.375, abs=1e-4)
    assert codes(body) == []


def test_the_ends_are_told_in_millimetres(office):
    params = {"diameter": 355.6, "angle": 90, "pieces": 5}
    body = office.post("develop/", develop_body(unit="mm", params=params, end_a="swage")).json()
    assert body["ends"][0]["outside_diameter"] == pytest.approx(355.6 - 25.4 / 32, abs=1e-3)
    assert body["ends"][0]["length"] == pytest.approx(38.1)


def test_a_given_allowance_is_the_length_that_goes_inside(office):
    body = office.post("develop/", develop_body(end_a="swage", allowances={"end_a": 2})).json()
    assert body["ends"][0]["length"] == 2


def test_the_ends_are_those_of_the_development(office):
    body = office.post("develop/", develop_body()).json()
    assert [end["end"] for end in body["ends"]] == [end["end"] for end in body["free_ends"]] == ["a", "b"]
    for end, free in zip(body["ends"], body["free_ends"], strict=True):
        assert end["inside_diameter"] == pytest.approx(free["diameter"], abs=1e-4)
        assert end["girth"] == pytest.approx(free["edge_length"], abs=5e-3)


@pytest.mark.parametrize(
    ("end_a", "joins_a", "reason"),
    [
        ("swage", "crimp", "Both are male, so neither goes inside the other."),
        ("raw", "raw", "Both are plain and of one size"),
        ("flange", "slip", "A male end has no face to bolt to."),
        ("ring", "raw", "A plain end has no face to bolt to."),
        ("hem", "hem", "Neither is male."),
    ],
)
def test_ends_that_do_not_go_together_are_warned_about(office, end_a, joins_a, reason):
    body = office.post("develop/", develop_body(end_a=end_a, joins_a=joins_a)).json()
    assert codes(body) == ["ends_do_not_fit"]
    message = body["warnings"][0]["message"]
    assert message.startswith("End A (")
    assert reason in message
    assert "Usually" in message
    assert body["ends"][0]["fits"] is False


@pytest.mark.parametrize(
    ("end_a", "joins_a"), [("swage", "raw"), ("raw", "slip"), ("flange", "ring"), ("hem", "crimp")]
)
def test_ends_that_go_together_are_not(office, end_a, joins_a):
    body = office.post("develop/", develop_body(end_a=end_a, joins_a=joins_a)).json()
    assert codes(body) == []
    assert body["ends"][0]["fits"] is True


def test_plain_ends_of_heavy_metal_are_welded(office):
    body = office.post("develop/", develop_body(gauge=14, joins_a="raw")).json()
    assert body["ends"][0]["fits"] is True
    assert body["ends"][0]["note"] == "Butted and welded."


def test_the_shops_own_pairs_decide(office):
    rows = [row for row in tables.rows("pairs") if {row["this"], row["other"]} != {"plain"}]
    rows.append(
        {
            "this": "plain",
            "other": "plain",
            "gauge_from": 1,
            "gauge_to": 40,
            "fits": "yes",
            "how": "Joined by a sleeve.",
            "source": "common practice, no source",
        }
    )
    tables.save(name="pairs", new_rows=rows, seen=1, note="", actor=OFFICE_ACTOR, now=timezone.now())
    body = office.post("develop/", develop_body(joins_a="raw")).json()
    assert (codes(body), body["ends"][0]["note"]) == ([], "Joined by a sleeve.")


# -- pressure ----------------------------------------------------------------


def test_a_light_gauge_is_warned_about_by_the_shops_rule(office):
    """IMC table 603.4: 18 in at 1 in w.g., galvanized: 0.024 in, 24 gauge."""
    params = elbow_params(diameter=18)
    light = office.post("develop/", develop_body(gauge=26, params=params, pressure_class=1)).json()
    assert codes(light) == ["gauge_for_pressure"]
    assert "IMC 603.4, lists 24 gauge or heavier" in light["warnings"][0]["message"]
    assert light["warnings"][0]["message"].endswith(DEFER)
    assert (
        codes(office.post("develop/", develop_body(gauge=24, params=params, pressure_class=1)).json()) == []
    )
    assert codes(office.post("develop/", develop_body(gauge=26, params=params)).json()) == []


def test_the_shop_chooses_its_rule(office):
    chosen = {"pressure_rule": "Recommended, industrial exhaust"}
    rows = [{**row, "value": chosen.get(row["key"], row["value"])} for row in tables.rows("shop")]
    tables.save(name="shop", new_rows=rows, seen=1, note="", actor=OFFICE_ACTOR, now=timezone.now())
    body = office.post("develop/", develop_body(gauge=24)).json()  # recommended: 9 to 14 in, 22 gauge
    assert codes(body) == ["gauge_for_pressure"]
    assert "Recommended, industrial exhaust, lists 22 gauge or heavier" in body["warnings"][0]["message"]


def test_a_line_is_answered_with_these_warnings(office):
    told = line(end_a="swage", joins_a="swage", pressure_class=4)
    shown = office.post("orders/", order_body(lines=[told])).json()["lines"][0]
    assert codes(shown) == ["ends_do_not_fit", "pressure_by_other_standard"]


# -- frozen ------------------------------------------------------------------


def test_a_release_freezes_the_ends(shop):
    from travelers.release import order_release

    made = order(lines=[line(end_a="swage", joins_a="swage", pressure_class=4)])
    order_release(number=made.number, actor=OFFICE_ACTOR, now=timezone.now())
    frozen = made.lines.get().development
    assert [(end["end"], end["finish"], end["fits"]) for end in frozen["ends"]] == [
        ("a", "swage", False),
        ("b", "raw", None),
    ]
    assert codes(frozen) == ["ends_do_not_fit", "pressure_by_other_standard"]


def test_a_stored_line_gives_what_it_was_given(shop):
    stored = order(lines=[line(joins_a="swage", pressure_class=4)]).lines.get()
    answer = development_answer(develop_for(**words_of(stored)), "in")
    assert [end["joins"] for end in answer["ends"]] == ["swage", ""]


# -- tables from before ------------------------------------------------------

NEW_COLUMNS = ("goes", "deduct_t", "clear_in", "length_in")


@pytest.fixture
def old_tables(shop):
    """A shop from before: its ends table without the new columns and finishes, no pairs, no pressure gauges."""
    ends = TableVersion.objects.get(table="ends")
    before = ("raw", "flange", "swage", "crimp", "hem")
    rows = [row for row in ends.rows if row["name"] in before]
    ends.rows = [{name: value for name, value in row.items() if name not in NEW_COLUMNS} for row in rows]
    ends.save()
    TableVersion.objects.filter(table__in=("pairs", "pressure_gauges")).delete()
    found = TableVersion.objects.get(table="shop")
    found.rows = [row for row in found.rows if row["key"] != "pressure_rule"]
    found.save()


def test_tables_from_before_still_develop(old_tables, office):
    asked = develop_body(end_a="swage", end_b="flange", joins_a="crimp", pressure_class=1)
    body = office.post("develop/", asked).json()
    first, second = body["ends"]
    assert (first["goes"], second["goes"]) == ("inside", "face")
    assert first["outside_diameter"] < 14  # Longfield's seven thicknesses
    assert (first["length"], second["length"]) == (1.5, 0.375)
    assert first["fits"] is None
    assert "no row for inside with inside" in first["note"]
    assert codes(body) == []


def test_an_ends_table_from_before_can_be_opened_and_saved_again(old_tables, shop):
    rows = tables.rows("ends")
    tables.save(name="ends", new_rows=rows, seen=1, note="", actor=OFFICE_ACTOR, now=timezone.now())
    assert [row["goes"] for row in tables.rows("ends")] == [""] * 5
    assert develop_for(**develop_body(end_a="swage")).ends[0].goes == "inside"


def test_the_first_tables_name_only_what_there_is(shop):
    goes = {row["goes"] for row in tables.rows("ends")}
    joints = {row["joint"] for row in tables.rows("allowances")}
    rules = {row["rule"] for row in tables.rows("pressure_gauges")}
    chosen = next(row["value"] for row in tables.rows("shop") if row["key"] == "pressure_rule")
    metals = {row["material"] for row in tables.rows("gauges")} | {"*"}
    assert goes == {"plain", "face", "inside", "outside"}
    assert {row["joint"] for row in tables.rows("ends")} <= joints
    assert chosen in rules
    assert {row["material"] for row in tables.rows("pressure_gauges")} <= metals
    assert {row["kind"] for row in tables.rows("usual")} <= {*KINDS, "*"}


def test_every_pair_of_ways_has_a_row(shop):
    from fittings.geometry.fit import GOES

    told = [{row["this"], row["other"]} for row in tables.rows("pairs")]
    assert all({this, other} in told for this in GOES for other in GOES)


# -- usual ranges ------------------------------------------------------------


def test_what_is_unusual_names_its_table_and_source(office):
    body = office.post("develop/", develop_body(params=elbow_params(radius_ratio=0.6))).json()
    message = body["warnings"][0]["message"]
    assert (
        "(Usual ranges: UFGS 15566A, 2.10.1 (1.5, else min 1.0); UFGS 15801N, 2.9.3 (2.0 or 2.5).)" in message
    )


# -- the third end -----------------------------------------------------------


def test_the_third_end_takes_its_own_allowance_or_that_of_end_b(shop):
    found = tables.all_rows()
    flanged = allowances_for("galvanized", 24, "raw", "flange", found)
    own = allowances_for("galvanized", 24, "raw", "flange", found, end_c="swage")
    given = allowances_for("galvanized", 24, "raw", "flange", found, {"end_c": 3}, end_c="swage")
    assert (flanged.free_end_c, own.free_end_c, given.free_end_c) == (0.375, 1.5, 3.0)
    assert allowances_for("galvanized", 24, "raw", "raw", found, {"end_c": 3}).free_end_c == 3.0


# -- old lines ---------------------------------------------------------------


def test_old_lines_get_blanks(transactional_db):
    from django.db import connection
    from django.db.migrations.executor import MigrationExecutor

    executor = MigrationExecutor(connection)
    newest = list(executor.loader.graph.leaf_nodes())
    try:
        executor.migrate([("fittings", "0002_order_change")])
        old = executor.loader.project_state([("fittings", "0002_order_change")]).apps
        customer = old.get_model("fittings", "Customer").objects.create(name="Example Mechanical")
        head = old.get_model("fittings", "Order").objects.create(
            number="7", customer=customer, created_at=timezone.now(), created_by="office"
        )
        old.get_model("fittings", "OrderLine").objects.create(
            order=head, position=1, quantity=1, kind="gored_elbow", material="galvanized", gauge=24
        )
    finally:
        MigrationExecutor(connection).migrate(newest)
    kept = OrderLine.objects.get()
    assert (kept.end_c, kept.joins_a, kept.joins_b, kept.joins_c, kept.pressure_class) == (
        "",
        "",
        "",
        "",
        None,
    )


def test_authority_rows_are_all_seen_in_a_page():
    path = settings.BASE_DIR / "fixtures" / "authorities" / "round_duct_gauge.csv"
    with path.open(newline="", encoding="utf-8") as file:
        assert {row["certainty"] for row in csv.DictReader(file)} == {"seen in a stored page"}


# -- ends of another sort -----------------------------------------------------

SADDLE = {
    "kind": "saddle",
    "params": {"diameter": 14, "branch_diameter": 8, "angle": 90, "branch_length": 14},
}
SQUARE_TO_ROUND = {
    "kind": "square_to_round",
    "params": {"width": 20, "height": 14, "diameter": 14, "length": 16},
}


def test_an_edge_that_lies_on_another_piece_joins_no_duct(office):
    told = office.post("develop/", develop_body(**SADDLE, end_a="flange", joins_a="flange"))
    assert told.status_code == 400
    (wrong,) = told.json()["errors"]
    assert (wrong["field"], wrong["value"]) == ("joins_a", "flange")
    assert "no duct meets the saddle edge" in wrong["message"]
    assert office.post("develop/", develop_body(**SADDLE, end_a="flange", joins_b="raw")).status_code == 200


@pytest.mark.parametrize(
    ("finish", "warned"), [("swage", True), ("crimp", True), ("flange", False), ("raw", False)]
)
def test_a_finish_for_round_ends_on_a_rectangular_one_is_warned_about(office, finish, warned):
    body = office.post("develop/", develop_body(**SQUARE_TO_ROUND, end_a=finish, end_b="swage")).json()
    assert ("finish_for_round_ends" in codes(body)) is warned
