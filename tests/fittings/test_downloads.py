"""The ZIP of an order's patterns, read back by general libraries; the name of a file; a development as PDF."""

import csv
import io
import math
import re
import zipfile

import ezdxf
import pytest
from django.utils import timezone

from fittings import downloads, tables
from fittings.downloads import cut_length, plain_name
from fittings.geometry import KINDS
from fittings.models import Order, OrderLine
from fittings.pattern_desk import sample_params
from tests import factories
from tests.factories import elbow_params, line, order

pytestmark = pytest.mark.django_db


def zip_of(caller, number="1042", unit=""):
    answer = caller.get(f"orders/{number}/patterns.zip" + (f"?unit={unit}" if unit else ""))
    assert answer.status_code == 200, answer.content
    return zipfile.ZipFile(io.BytesIO(answer.content))


def listed(archive) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(archive.read("patterns.csv").decode())))


def drawn(archive, name):
    return ezdxf.read(io.StringIO(archive.read(name).decode()))


def outlines(document) -> list[list[tuple[float, float]]]:
    return [
        [point[:2] for point in one.get_points()]
        for one in document.modelspace()
        if one.dxf.layer == "CUT" and one.dxftype() == "LWPOLYLINE"
    ]


def length_round(outline) -> float:
    return sum(math.dist(a, b) for a, b in zip(outline, outline[1:] + outline[:1], strict=True))


def release(number):
    from travelers.release import order_release

    order_release(number=number, actor=factories.OFFICE_ACTOR, now=timezone.now())


# -- what is in it -----------------------------------------------------------


def test_every_dxf_is_read_back_without_an_error(office):
    order(number="1042", lines=[line(kind=kind.name, params=sample_params(kind)) for kind in KINDS.values()])
    archive = zip_of(office)
    assert archive.testzip() is None
    files = [name for name in archive.namelist() if name.endswith(".dxf")]
    assert len(files) == len(archive.namelist()) - 1
    for name in files:
        document = drawn(archive, name)
        assert document.audit().errors == [], name
        cut = [one for one in document.modelspace() if one.dxf.layer == "CUT"]
        assert cut and all(one.closed for one in cut), name


def test_equal_patterns_of_two_lines_are_one_file_with_their_sum(office):
    """An elbow of five pieces has two different end gores (their edges differ) and three equal middle gores."""
    order(number="1042", lines=[line(quantity=4), line(quantity=7, tag="AHU-9")])
    archive = zip_of(office)
    rows = {(row["role"], row["quantity"]) for row in listed(archive)}
    assert rows == {("End gore", "11"), ("Middle gore", "33")}
    assert sum(int(row["quantity"]) for row in listed(archive)) == 5 * (4 + 7)
    assert {row["lines"] for row in listed(archive)} == {"1 2"}
    assert len(archive.namelist()) == 3 + 1


def test_lines_of_other_metal_or_size_do_not_share_a_file(office):
    lines = [line(), line(gauge=20), line(material="stainless"), line(params=elbow_params(diameter=15))]
    order(number="1042", lines=lines)
    archive = zip_of(office)
    assert len(archive.namelist()) == 4 * 3 + 1
    metals = {(row["material"], row["gauge"]) for row in listed(archive)}
    assert metals == {("galvanized", "24"), ("galvanized", "20"), ("stainless", "24")}


def test_names_are_unique_and_say_code_quantity_role_and_metal(office):
    order(number="1042", lines=[line(kind=kind.name, params=sample_params(kind)) for kind in KINDS.values()])
    names = [name for name in zip_of(office).namelist() if name != "patterns.csv"]
    assert len(set(names)) == len(names)
    for name in names:
        assert re.fullmatch(r"[0-9a-f]{8}-\d+x-[a-z-]+-24ga-galvanized\.dxf", name), name
    assert len({name[:8] for name in names}) == len(names)


def test_list_agrees_with_the_files(office):
    order(number="1042", lines=[line(), line(kind="tee", params=sample_params(KINDS["tee"]), quantity=3)])
    archive = zip_of(office)
    rows = listed(archive)
    assert [row["file"] for row in rows] == archive.namelist()[:-1]
    for row in rows:
        assert row["file"].startswith(f"{row['pattern']}-{row['quantity']}x-")
        found = outlines(drawn(archive, row["file"]))
        assert float(row["cut_length_in"]) == pytest.approx(sum(map(length_round, found)), abs=0.01)
        xs, ys = zip(*max(found, key=length_round), strict=True)
        assert float(row["blank_length_in"]) == pytest.approx(max(xs) - min(xs), abs=0.01)
        assert float(row["blank_width_in"]) == pytest.approx(max(ys) - min(ys), abs=0.01)


def test_files_in_mm_say_so_and_are_25_4_times_as_large(office):
    order(number="1042")
    inches, metric = zip_of(office, unit="in"), zip_of(office, unit="mm")
    for one, other in zip(listed(inches), listed(metric), strict=True):
        assert float(other["cut_length_mm"]) == pytest.approx(25.4 * float(one["cut_length_in"]), abs=0.03)
        assert drawn(metric, other["file"]).header["$INSUNITS"] == 4
        lengths = [
            sum(map(length_round, outlines(drawn(archive, row["file"]))))
            for archive, row in ((inches, one), (metric, other))
        ]
        assert lengths[1] / lengths[0] == pytest.approx(25.4)


def test_segment_longer_than_the_stock_is_one_file_with_its_plates(office):
    order(number="1042", lines=[line(params=elbow_params(diameter=72))])
    archive = zip_of(office)
    for row in listed(archive):
        assert int(row["plates"]) > 1
        assert len(outlines(drawn(archive, row["file"]))) == int(row["plates"])


def test_same_order_gives_the_same_bytes(office):
    order(number="1042", lines=[line(), line(params=elbow_params(diameter=20))])
    first, again = (office.get("orders/1042/patterns.zip") for _ in range(2))
    assert first.content == again.content
    assert {one.date_time for one in zipfile.ZipFile(io.BytesIO(first.content)).infolist()} == {
        (1980, 1, 1, 0, 0, 0)
    }


def test_answer_names_its_file(office):
    order(number="A_7.b")
    answer = office.get("orders/A_7.b/patterns.zip?unit=mm")
    assert answer["Content-Type"] == "application/zip"
    assert 'filename="patterns-a-7-b-mm.zip"' in answer["Content-Disposition"]


# -- drafts, released, cancelled ---------------------------------------------


def test_released_order_is_cut_as_it_was_frozen(office):
    order(number="1042")
    release("1042")
    before = zip_of(office)
    rows = [{**row, "amount_in": row["amount_in"] + 0.25} for row in tables.rows("allowances")]
    tables.save(
        name="allowances", new_rows=rows, seen=1, note="", actor=factories.OFFICE_ACTOR, now=timezone.now()
    )
    order(number="1043")
    assert zip_of(office).namelist() == before.namelist()
    assert listed(zip_of(office, "1043")) != listed(before)


def test_development_frozen_before_there_were_holes_and_forms_is_still_cut(office):
    order(number="1042")
    release("1042")
    kept = OrderLine.objects.get()
    for segment in kept.development["segments"]:
        for name in ("form", "holes", "space", "seam_length"):
            segment.pop(name)
    kept.save(update_fields=["development"])
    archive = zip_of(office)
    assert len(archive.namelist()) == 4
    assert all(float(row["cut_length_in"]) > 80 for row in listed(archive))


def test_cancelled_order_is_refused(office):
    order(number="1042")
    Order.objects.update(state=Order.State.CANCELLED)
    answer = office.get("orders/1042/patterns.zip")
    assert answer.status_code == 409
    assert answer.json()["detail"].startswith("Order 1042 is cancelled. Nothing is cut for it")


def test_draft_that_cannot_be_made_any_more_names_the_line(office):
    order(number="1042", lines=[line(), line(gauge=20)])
    rows = [row for row in tables.rows("gauges") if row["gauge"] != 20]
    tables.save(
        name="gauges", new_rows=rows, seen=1, note="", actor=factories.OFFICE_ACTOR, now=timezone.now()
    )
    answer = office.get("orders/1042/patterns.zip")
    assert answer.status_code == 400
    error = answer.json()["errors"][0]
    assert error["field"] == "lines[1].gauge"
    assert error["message"].startswith("Line 2: Gauge is 20; galvanized can be")


@pytest.mark.parametrize(("path", "status", "sentence"), [
    ("orders/none/patterns.zip", 404, "There is no order none."),
    ("orders/1042/patterns.zip?unit=ft", 400, "Unit is “ft”; it can be in or mm."),
    ("orders/import/patterns.zip", 404, ""),
])  # fmt: skip
def test_what_is_not_there_is_refused(office, path, status, sentence):
    order(number="1042")
    answer = office.get(path)
    assert answer.status_code == status
    assert sentence in answer.content.decode()


def test_more_patterns_than_one_zip_holds_are_refused(office, monkeypatch):
    monkeypatch.setattr(downloads, "MOST_PATTERNS", 5)
    order(number="1042", lines=[line(), line(params=elbow_params(diameter=20))])
    answer = office.get("orders/1042/patterns.zip")
    assert answer.status_code == 413
    assert "has more than 5 different patterns" in answer.json()["detail"]


@pytest.mark.parametrize(
    ("role", "status"), [("office", 200), ("supervisor", 200), ("operator", 403), ("display", 403), ("", 401)]
)
def test_zip_is_for_whom_the_papers_are(api_as, role, status):
    order(number="1042")
    assert api_as(role).get("orders/1042/patterns.zip").status_code == status


# -- one development ---------------------------------------------------------


def test_development_is_answered_as_pdf(office):
    body = {"kind": "gored_elbow", "material": "galvanized", "gauge": 24, "params": elbow_params()}
    answer = office.post("develop/?format=pdf", body)
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert answer.content.startswith(b"%PDF-")
    assert 'filename="gored-elbow-24ga-galvanized-in.pdf"' in answer["Content-Disposition"]


# -- names and lengths -------------------------------------------------------


def test_name_of_a_file_is_plain():
    assert plain_name("3fa9c1d2", "48x", "Middle gore", "24ga", "galvanized") == (
        "3fa9c1d2-48x-middle-gore-24ga-galvanized"
    )
    for text in (
        "../../etc/passwd",
        "Blèche № 3",
        "a\\b:c*?",
        "=1+1",
        "\N{CJK UNIFIED IDEOGRAPH-94C1}",
        "x" * 300,
    ):
        assert re.fullmatch(r"[a-z0-9][a-z0-9-]{0,119}", plain_name(text)), text


def test_material_that_a_spreadsheet_would_count_is_written_as_text(office):
    rows = [
        {**row, "material": "=cmd|'x'!A1"} if row["material"] == "aluminized" else row
        for row in tables.rows("gauges")
    ]
    rows += [{**next(iter(tables.rows("gauges"))), "material": "=1+1", "gauge": 24}]
    tables.save(
        name="gauges", new_rows=rows, seen=1, note="", actor=factories.OFFICE_ACTOR, now=timezone.now()
    )
    order(number="1042", lines=[line(material="=1+1", gauge=24)])
    archive = zip_of(office)
    assert {row["material"] for row in listed(archive)} == {"'=1+1"}
    assert all(
        name.startswith(row["pattern"])
        for name, row in zip(archive.namelist(), listed(archive), strict=False)
    )


def test_cut_length_goes_round_outlines_and_holes():
    """A square of 10 with a hole of 2 by 3: 40 + 10. In two plates of 10 by 5: 2 x 30, without the whole."""
    square = [[0, 0], [10, 0], [10, 10], [0, 10]]
    hole = [[1, 1], [3, 1], [3, 4], [1, 4]]
    half = [[0, 0], [10, 0], [10, 5], [0, 5]]
    assert cut_length({"cut_outline": square, "holes": [hole]}) == pytest.approx(50)
    plates = [{"cut_outline": half}, {"cut_outline": half}]
    assert cut_length({"cut_outline": square, "plates": plates}) == pytest.approx(60)
