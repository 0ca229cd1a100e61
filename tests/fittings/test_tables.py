"""The shop's tables: against the authorities that they name, and changed as whole versions."""

import csv
from pathlib import Path

import pytest
from django.conf import settings
from django.utils import timezone

from fittings import tables
from fittings.developing import develop_for
from fittings.models import TableVersion
from fittings.services import table_change
from shared.problems import Conflict
from tests.factories import OFFICE_ACTOR, elbow_params
from tests.threads import together

AUTHORITIES = Path(settings.BASE_DIR) / "fixtures" / "authorities"
ZINC_OZ = 2.5  # oz/ft² that the galvanized gauge adds, both sides together
LB_FT2_PER_IN = 41.82  # sheet steel as the sheet gauges reckon it


def read(path: Path) -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def statute():
    """15 U.S.C. 206: gauge number to ounces a square foot and to thickness."""
    return {
        int(row["gauge"]): row for row in read(AUTHORITIES / "us_code_15_206.csv") if len(row["gauge"]) < 3
    }


@pytest.fixture(scope="module")
def gauges():
    found: dict[str, dict[int, dict]] = {}
    for row in read(tables.FOLDER / "gauges.csv"):
        found.setdefault(row["material"], {})[int(row["gauge"])] = row
    return found


def number(row: dict, name: str) -> float:
    return float(row[name])


# -- against the authorities -------------------------------------------------


@pytest.mark.authority
def test_every_material_has_every_gauge_from_10_to_30(gauges):
    assert {material: sorted(rows) for material, rows in gauges.items()} == {
        material: list(range(10, 31)) for material in ("galvanized", "carbon steel", "stainless", "aluminum")
    }


@pytest.mark.authority
@pytest.mark.parametrize("gauge", range(10, 31))
def test_carbon_steel_weighs_what_the_statute_says(gauges, statute, gauge):
    row, ounces = gauges["carbon steel"][gauge], number(statute[gauge], "weight_oz_per_ft2")
    assert number(row, "weight_lb_ft2") == pytest.approx(ounces / 16, abs=1e-4)
    assert number(row, "thickness_in") == pytest.approx(ounces / 16 / LB_FT2_PER_IN, abs=5.1e-5)


@pytest.mark.authority
@pytest.mark.parametrize("gauge", range(10, 31))
def test_galvanized_is_the_statutes_sheet_and_its_zinc(gauges, statute, gauge):
    row, ounces = gauges["galvanized"][gauge], number(statute[gauge], "weight_oz_per_ft2") + ZINC_OZ
    assert number(row, "weight_lb_ft2") == pytest.approx(ounces / 16, abs=6e-4)  # printed to three decimals
    assert number(row, "thickness_in") == pytest.approx(ounces / 16 / LB_FT2_PER_IN, abs=5.1e-5)


@pytest.mark.authority
@pytest.mark.parametrize("gauge", range(10, 31))
def test_stainless_is_as_thick_as_the_statute_says(gauges, statute, gauge):
    row = gauges["stainless"][gauge]
    assert number(row, "thickness_in") == pytest.approx(number(statute[gauge], "thickness_in"), abs=6e-5)
    exact = number(statute[gauge], "weight_oz_per_ft2") / 640
    assert number(row, "weight_lb_ft2") == pytest.approx(exact * 144 * 0.29, abs=5.1e-5)


@pytest.mark.authority
@pytest.mark.parametrize("gauge", range(10, 31))
def test_aluminum_is_brown_and_sharpe(gauges, gauge):
    row = gauges["aluminum"][gauge]
    assert number(row, "thickness_in") == pytest.approx(0.005 * 92 ** ((36 - gauge) / 39), abs=5.1e-5)
    assert number(row, "weight_lb_ft2") == pytest.approx(number(row, "thickness_in") * 144 * 0.098, abs=1e-3)


@pytest.mark.authority
def test_the_published_sheet_tables_agree(gauges):
    printed = read(AUTHORITIES / "sheet_gauges.csv")
    assert len(printed) == 35
    for row in printed:
        own = gauges[row["material"]][int(row["gauge"])]
        assert number(own, "thickness_in") == pytest.approx(number(row, "thickness_in"), abs=5.1e-5), row
        if row["weight_lb_per_ft2"]:
            assert number(own, "weight_lb_ft2") == pytest.approx(
                number(row, "weight_lb_per_ft2"), abs=1e-4
            ), row


@pytest.mark.authority
def test_the_authority_agrees_with_itself(statute):
    for row in statute.values():
        assert number(row, "thickness_in") == pytest.approx(number(row, "weight_oz_per_ft2") / 640, abs=1e-6)


def test_every_row_names_its_source(db):
    tables.load_first_versions(now=timezone.now())
    for name, rows in tables.all_rows().items():
        if any(column.name == "source" for column in tables.SCHEMAS[name].columns):
            assert all(row["source"].strip() for row in rows), name


def test_an_elbow_weighs_its_net_area_times_the_tables_weight(shop):
    elbow = develop_for(kind="gored_elbow", material="carbon steel", gauge=16, params=elbow_params())
    assert elbow.weight == pytest.approx(elbow.net_area / 144 * 2.5, rel=1e-9)


# -- changed -----------------------------------------------------------------


def changed(rows, **words):
    return {"rows": rows, "version": 1, "note": "Changed", **words}


def test_the_tables_are_listed_with_their_columns(office, django_assert_num_queries):
    with django_assert_num_queries(2):  # the key, the versions
        page = office.get("tables/?page_size=100").json()
    names = [row["name"] for row in page["results"]]
    assert {"gauges", "gores", "allowances", "ends", "usual", "stock"} <= set(names)
    gauges = page["results"][names.index("gauges")]
    assert (gauges["version"], gauges["columns"][1]["name"]) == (1, "gauge")


def test_a_table_is_read_whole_in_any_version(office):
    first = office.get("tables/stock/").json()
    assert (first["version"], first["made_by"]) == (1, "set-up")
    rows = [{**row, "length_in": row["length_in"] + 12} for row in first["rows"]]
    assert office.post("tables/stock/", changed(rows)).status_code == 201
    assert office.get("tables/stock/").json()["rows"] == rows
    assert office.get("tables/stock/?version=1").json() == first


def test_a_new_version_is_used_from_then_on(office):
    body = {"kind": "gored_elbow", "material": "galvanized", "gauge": 24, "params": elbow_params()}
    before = office.post("develop/", body).json()["segments"][0]["lap"]
    rows = office.get("tables/allowances/").json()["rows"]
    for row in rows:
        row["amount_in"] = 0.625 if row["joint"] == "seam lap" else row["amount_in"]
    made = office.post("tables/allowances/", changed(rows)).json()
    assert (made["version"], made["note"]) == (2, "Changed")
    assert (before, office.post("develop/", body).json()["segments"][0]["lap"]) == (0.5, 0.625)


def test_a_row_for_the_material_goes_before_one_for_any(office):
    rows = office.get("tables/allowances/").json()["rows"]
    rows.append({**rows[0], "material": "galvanized", "gauge_from": 20, "gauge_to": 30, "amount_in": 1})
    office.post("tables/allowances/", changed(rows))
    laps = [
        develop_for(kind="gored_elbow", material=metal, gauge=24, params=elbow_params()).segments[0].lap
        for metal in ("galvanized", "stainless")
    ]
    assert laps == [1, 0.5]


@pytest.mark.parametrize(
    ("row", "field"),
    [
        ({"length_in": 0}, "rows[0].length_in"),
        ({"length_in": "long"}, "rows[0].length_in"),
        ({"length_in": True}, "rows[0].length_in"),
        ({"length_in": None}, "rows[0].length_in"),
        ({"length_in": [96]}, "rows[0].length_in"),
        ({"form": "roll"}, "rows[0].form"),
        ({"source": " "}, "rows[0].source"),
        ({"name": "x" * 401}, "rows[0].name"),
        ({"colour": "red"}, "rows[0].colour"),
    ],
)
def test_a_wrong_cell_is_named_and_nothing_is_kept(office, row, field):
    good = office.get("tables/stock/").json()["rows"]
    answer = office.post("tables/stock/", changed([{**good[0], **row}]))
    assert answer.status_code == 400
    errors = answer.json()["errors"]
    assert [error["field"] for error in errors] == [field]
    assert all(error["limit"] and error["message"] for error in errors)
    assert TableVersion.objects.filter(table="stock").count() == 1


@pytest.mark.parametrize(
    ("words", "field"),
    [
        ({"rows": []}, "rows"),
        ({"rows": None}, "rows"),
        ({"rows": ["48x96"]}, "rows[0]"),
        ({"rows": [{}] * 2001}, "rows"),
        ({"version": None}, "version"),
        ({"note": 7}, "note"),
        ({"note": "x" * 301}, "note"),
    ],
)
def test_a_wrong_change_is_refused(office, words, field):
    rows = office.get("tables/stock/").json()["rows"]
    answer = office.post("tables/stock/", {**changed(rows), **words})
    assert answer.status_code == 400
    assert [error["field"] for error in answer.json()["errors"]] == [field]
    assert TableVersion.objects.filter(table="stock").count() == 1


def test_two_equal_rows_are_refused(office):
    rows = office.get("tables/stock/").json()["rows"]
    answer = office.post("tables/stock/", changed([rows[0], rows[0]]))
    assert answer.json()["errors"][0]["field"] == "rows[1]"


def test_a_stale_change_is_refused(office):
    rows = office.get("tables/stock/").json()["rows"]
    assert office.post("tables/stock/", changed(rows)).status_code == 201
    answer = office.post("tables/stock/", changed(rows))
    assert answer.status_code == 409
    assert "version 2" in answer.json()["detail"]
    assert TableVersion.objects.filter(table="stock").count() == 2


@pytest.mark.parametrize(
    "path", ["tables/colours/", "tables/stock/?version=9", "tables/stock/?version=999999999"]
)
def test_a_table_that_is_not_there(office, path):
    assert office.get(path).status_code == 404


@pytest.mark.parametrize("version", ["0x1", "-1", "two", "", "9" * 30])
def test_a_version_that_is_no_number_is_refused(office, version):
    assert office.get(f"tables/stock/?version={version}").status_code == 400


def test_of_two_changes_at_the_same_moment_one_is_refused(live_shop):
    rows = [dict(row) for row in tables.rows("stock")]

    def work():
        try:
            table_change(name="stock", data=changed(rows), actor=OFFICE_ACTOR, now=timezone.now())
            return "changed"
        except Conflict:
            return "conflict"

    outcomes = together(work, work)
    assert sorted(outcomes) == ["changed", "conflict"]


# -- kinds and schema --------------------------------------------------------


def test_the_kinds_are_listed_with_their_parameters(office):
    page = office.get("kinds/?page_size=100").json()
    elbow = next(kind for kind in page["results"] if kind["name"] == "gored_elbow")
    diameter = next(param for param in elbow["params"] if param["name"] == "diameter")
    assert (diameter["unit"], diameter["required"], diameter["high"]) == ("in", True, 120)


def test_the_schema_describes_every_kind_and_has_no_warnings():
    from drf_spectacular.drainage import GENERATOR_STATS
    from drf_spectacular.generators import SchemaGenerator
    from drf_spectacular.validation import validate_schema

    from fittings.api_urls import urlpatterns
    from fittings.geometry import KINDS

    GENERATOR_STATS.reset()
    with GENERATOR_STATS.silence():
        schema = SchemaGenerator(patterns=urlpatterns).get_schema(request=None, public=True)
        told = dict(GENERATOR_STATS._warn_cache) | dict(GENERATOR_STATS._error_cache)
    assert told == {}
    validate_schema(schema)
    params = schema["components"]["schemas"]["DevelopInRequest"]["properties"]["params"]
    assert [kind["title"] for kind in params["anyOf"]] == list(KINDS)
    assert schema["components"]["securitySchemes"]["key"]["name"] == "Authorization"
    for path in ("/api/v1/develop/", "/api/v1/orders/"):
        assert schema["paths"][path.removeprefix("/api/v1")]["post"]["requestBody"]["content"][
            "application/json"
        ]["examples"]


def _versions(table):
    return list(TableVersion.objects.filter(table=table).order_by("number").values_list("number", "made_by"))


def test_rows_that_came_with_an_older_release_are_brought_up_to_date(shop):
    newest = TableVersion.objects.get(table="stock", number=1)
    TableVersion.objects.create(
        table="stock", number=2, rows=newest.rows[:1], note="", made_by=tables.SET_UP, made_at=timezone.now()
    )
    assert tables.load_first_versions(now=timezone.now()) == ["stock"]
    assert _versions("stock") == [(1, "set-up"), (2, "set-up"), (3, "set-up")]
    assert list(tables.rows("stock")) == newest.rows
    assert tables.load_first_versions(now=timezone.now()) == []


def test_what_the_shop_has_edited_stays_as_it_is(shop):
    first = TableVersion.objects.get(table="stock", number=1)
    TableVersion.objects.create(
        table="stock", number=2, rows=first.rows[:1], note="", made_by="office", made_at=timezone.now()
    )
    assert tables.load_first_versions(now=timezone.now()) == []
    assert list(tables.rows("stock")) == first.rows[:1]
