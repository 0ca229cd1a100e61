"""Whose the pages of cut plans are, and what no page of them does."""

from __future__ import annotations

import re

import pytest

from tests.travelers.cut_desk import NEW
from tests.travelers.cut_floor import state

pytestmark = pytest.mark.usefixtures("shop")

READS = ("/cut-plans/", NEW, "/cut-plans/1/", "/cut-plans/1/progress/", "/cut-plans/1/comparisons/")
FILES = (
    "/cut-plans/1/sheets.pdf",
    "/cut-plans/1/sheets.zip",
    "/cut-sheets/{}/",
    "/cut-sheets/{}.svg",
    "/cut-sheets/{}.dxf",
)
ACTS = (
    "/cut-plans/1/stop/",
    "/cut-plans/1/again/",
    "/cut-plans/1/drop/",
    "/cut-plans/1/send/",
    "/cut-sheets/{}/take-off/",
)


@pytest.mark.parametrize("role", ["office", "supervisor", "display", ""])
def test_the_pages_are_for_office_and_supervisor(browse, plan, role):
    client = browse(role)
    pk = plan.sheets.first().pk
    before = state()
    for path in (*READS, *FILES):
        answer = client.get(path.format(pk))
        want = 200 if role in ("office", "supervisor") else 403 if role else 302
        assert answer.status_code == want, path
    if role not in ("office", "supervisor"):
        for path in (*ACTS, NEW):
            assert client.post(path.format(pk)).status_code == (403 if role else 401), path
    assert state() == before


def test_the_way_to_the_plans_stands_in_the_navigation_of_those_who_plan(browse):
    for role, is_there in (("office", True), ("supervisor", True)):
        assert ('href="/cut-plans/"' in browse(role).get("/where/").content.decode()) == is_there
    assert "Cut plans" not in browse("display").get("/board/").content.decode()


def test_nothing_is_done_by_opening_an_address(desk, plan):
    before = state()
    for path in ACTS:
        assert desk.get(path.format(plan.sheets.first().pk)).status_code == 405, path
    assert state() == before


def test_nothing_is_done_by_a_form_of_another_page(browse, plan):
    client = browse("office", enforce_csrf_checks=True)
    before = state()
    for path in (*ACTS, NEW):
        assert client.post(path.format(plan.sheets.first().pk)).status_code == 403, path
    assert state() == before


def test_no_page_has_script_or_style_of_its_own(desk, sheet):
    asked = (*READS, f"/cut-sheets/{sheet.pk}/")
    for path in asked:
        html = desk.get(path).content.decode()
        assert not re.search(r"\sstyle=|<style|<script(?![^>]*\bsrc=)|\son\w+=", html), path
        identifiers = re.findall(r'\sid="([^"]+)"', html)
        assert len(identifiers) == len(set(identifiers)), path
