"""Papers in the background: made by the worker, kept in parts, fetched, stopped, pruned; small ones answer at once."""

from datetime import timedelta

import pytest
from django.utils import timezone

from shared.jobs import Run, work_once
from shared.models import Job
from shared.problems import Conflict
from tests import factories
from tests.pages import text_of
from tests.travelers.documents.reading import words
from tests.travelers.documents.reading_tags import check
from travelers import print_runs
from travelers.models import PrintPart, PrintRun, Traveler
from travelers.print_runs import PRINT, PRINT_WORK
from travelers.release import order_release

pytestmark = pytest.mark.usefixtures("shop")
WHO = {"actor": factories.OFFICE_ACTOR, "now": factories.NOW}


def released(**changes):
    order = factories.order(lines=[factories.line(traveler_per="fitting")], **changes)
    order_release(number=order.number, **WHO)
    return order


def ask(order, paper="travelers", **changes) -> PrintRun:
    return print_runs.print_ask(number=order.number, paper=paper, **{**WHO, **changes})


def work() -> bool:
    return work_once({PRINT: PRINT_WORK}, worker="test")


def test_travelers_are_made_once_and_read_like_those_printed_at_once(client, monkeypatch):
    monkeypatch.setattr(print_runs, "PART_BYTES", 10_000)
    order = released()
    key = {"HTTP_AUTHORIZATION": f"Token {factories.key_for('office')}"}
    address = f"/api/v1/orders/{order.number}/papers/"
    answer = client.post(address, {"paper": "travelers"}, content_type="application/json", **key)
    assert answer.status_code == 202 and answer.json()["state"] == "queued"
    there = answer["Location"]
    early = client.get(f"{there}file.pdf", **key)
    assert early.status_code == 409 and early["Retry-After"]
    same = client.post(address, {"paper": "travelers"}, content_type="application/json", **key)
    assert same.json()["id"] == answer.json()["id"], "what is being made is not begun again"
    assert work() and not work()
    told = client.get(there, **key).json()
    assert (told["state"], told["share"]) == ("done", 1.0) and told["made_at"]
    assert PrintPart.objects.count() > 2
    made = client.get(f"{there}file.pdf", **key).content
    assert len(made) == told["bytes"]
    check(made)
    direct = client.get(f"/api/v1/orders/{order.number}/travelers.pdf", **key).content
    assert [row.split("Printed")[0] for row in words(made)] == [
        row.split("Printed")[0] for row in words(direct)
    ]
    assert all("Reprint" not in page for page in words(made)) and "Reprint 1" in words(direct)[0]
    assert set(Traveler.objects.values_list("prints", flat=True)) == {2}


def test_labels_take_their_options_and_refuse_wrong_ones(client):
    order = released()
    key = {"HTTP_AUTHORIZATION": f"Token {factories.key_for('office')}"}
    address = f"/api/v1/orders/{order.number}/papers/"
    for body, field in (
        ({"paper": "labels", "start_at": 99}, "start_at"),
        ({"paper": "labels", "format_name": "none"}, "format_name"),
        ({"paper": "poster"}, "paper"),
    ):
        wrong = client.post(address, body, content_type="application/json", **key)
        assert wrong.status_code == 400 and wrong.json()["errors"][0]["field"] == field
    assert not PrintRun.objects.exists() and not Job.objects.filter(kind=PRINT).exists()
    client.post(address, {"paper": "labels", "start_at": 3}, content_type="application/json", **key)
    assert work()
    run = PrintRun.objects.get()
    assert len(words(print_runs.run_file(run))) == 3  # 20 labels from the third place on, ten a sheet


def test_progress_is_told_and_a_print_that_is_stopped_leaves_nothing(monkeypatch):
    order = released()
    run = ask(order)
    told = []
    plain = Run.tell

    def tell(self, share, words="", figures=None):
        told.append((round(share, 2), words))
        if len(told) == 3:
            print_runs.print_stop(run=run, now=timezone.now())
            self._told_at = None
        return plain(self, share, words, figures)

    monkeypatch.setattr(Run, "tell", tell)
    work()
    assert told[1] == (round(0.97 / 4, 2), "1 of 4 travelers") and told[2][1] == "2 of 4 travelers"
    assert print_runs.print_state(run).state == "cancelled" and not PrintPart.objects.exists()
    with pytest.raises(Conflict, match="were not made"):
        print_runs.run_file(run)
    assert ask(order).pk != run.pk


def test_a_worker_that_died_leaves_parts_that_do_not_spoil_the_next_attempt():
    order = released()
    run = ask(order)
    PrintPart.objects.create(run=run, number=0, content=b"half a file")
    assert work()
    assert print_runs.run_file(PrintRun.objects.get(pk=run.pk)).startswith(b"%PDF")


def test_files_are_kept_for_a_day():
    old = ask(released())
    work()
    later = factories.NOW + timedelta(hours=23)
    ask(released(), now=later)
    assert PrintRun.objects.filter(pk=old.pk).exists()
    work()
    ask(released(), now=factories.NOW + timedelta(hours=25))
    assert not PrintRun.objects.filter(pk=old.pk).exists()


def test_a_draft_has_nothing_to_print():
    with pytest.raises(Conflict, match="is a draft"):
        ask(factories.order())


def test_the_page_of_a_large_order_prints_in_the_background(office_page, monkeypatch):
    order = released()
    assert "travelers.pdf" in office_page.get(f"/orders/{order.number}/").content.decode()
    monkeypatch.setattr(print_runs, "LARGE", 4)
    page = office_page.get(f"/orders/{order.number}/").content.decode()
    assert "travelers.pdf" not in page and "Print travelers" in page
    answer = office_page.post(f"/orders/{order.number}/papers/", {"paper": "travelers"}, follow=True)
    assert "In the queue" in text_of(answer)
    run = PrintRun.objects.get()
    progress = f"/orders/{order.number}/papers/{run.pk}/progress/"
    assert "HX-Refresh" not in office_page.get(progress)
    work()
    assert office_page.get(progress)["HX-Refresh"] == "true"
    page = office_page.get(f"/orders/{order.number}/papers/{run.pk}/").content.decode()
    assert "Open the PDF" in page and f"/api/v1/orders/{order.number}/papers/{run.pk}/file.pdf" in page
    assert "Prints" in text_of(office_page.get(f"/orders/{order.number}/"))
