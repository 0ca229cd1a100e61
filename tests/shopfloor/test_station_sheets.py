"""Station sheets: the tablet's own list and numbers on paper, codes that scan, in the shop's language."""

from io import BytesIO

import pikepdf
import pytest

from shared.roles import OPERATOR, Actor
from shopfloor.models import Station
from shopfloor.tablet import piece_data, station_data
from tests import factories
from tests.travelers.documents.reading import codes, pages, words
from tests.travelers.documents.reading_tags import check, tree_of
from travelers.release import order_release

pytestmark = pytest.mark.usefixtures("shop")


@pytest.fixture
def floor(shop):
    order = factories.order(lines=[factories.line(quantity=2), factories.line(quantity=1, tag="L" * 60)])
    order_release(number=order.number, actor=factories.OFFICE_ACTOR, now=factories.NOW)
    for position, (code, operation) in enumerate((("CUT-1", "cut"), ("ROLL-1", "roll"))):
        Station.objects.create(code=code, name=f"Bench {code}", operations=[operation], position=position)
    return order


def printed(browser, query="") -> bytes:
    answer = browser.get(f"/api/v1/stations/sheets.pdf{query}")
    assert answer.status_code == 200
    return answer.content


def test_the_sheet_has_the_tablets_list_in_its_order_with_its_numbers(floor, browse):
    data = printed(browse("supervisor"), "?station=CUT-1")
    check(data)
    actor = Actor("CUT-1", OPERATOR, "CUT-1", ("cut",))
    listed = [entry["code"] for entry in station_data(actor)["queue"]]
    found = [
        one.text
        for page in pages(data)
        for one in sorted(codes(page), key=lambda one: one.position.top_left.y)
    ]
    assert len(found) == 15, "three fittings of five gores"
    assert found[: len(listed)] == listed
    text = words(data)[0]
    for number in piece_data(listed[0], actor)["numbers"]:
        assert number["label"] in text and number["value"] in text
    assert f"{floor.number}/1" in text and "Tick what is finished" in text


def test_all_stations_stand_in_one_file_each_with_its_own_pages(floor, browse):
    data = printed(browse("supervisor"))
    tree = tree_of(data)
    assert [node.text.split()[0] for node in tree.all("H1")] == ["CUT-1", "ROLL-1"]
    assert "Nothing is ready here." in words(data)[-1] and "Page 1 of 1" in words(data)[-1]


def test_it_speaks_the_shops_language(floor, browse, monkeypatch):
    monkeypatch.setattr("shopfloor.station_sheets.shop_language", lambda: "es")
    data = printed(browse("supervisor"), "?station=ROLL-1")
    assert "Aquí no hay nada listo." in words(data)[0]

    with pikepdf.open(BytesIO(data)) as pdf:
        assert str(pdf.Root.Lang) == "es"


def test_a_station_that_is_not_there_is_not_found(floor, browse):
    answer = browse("supervisor").get("/api/v1/stations/sheets.pdf?station=NONE")
    assert answer.status_code == 404 and "NONE" in answer.json()["detail"]
    assert browse("display").get("/api/v1/stations/sheets.pdf").status_code == 403


def test_the_stations_page_leads_to_them(floor, browse):
    page = browse("supervisor").get("/stations/").content.decode()
    assert "Sheets for a day without power" in page and "sheets.pdf?station=CUT-1" in page
