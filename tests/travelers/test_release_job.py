"""A big release: asked for on the page, made by the worker whole or not at all, told of meanwhile."""

from __future__ import annotations

import pytest
from django.utils import timezone

from fittings import services, tables
from fittings.models import Fitting, Order
from fittings.orders import order_cancel, order_update
from shared.jobs import job_of, work_once
from shared.models import Job
from shared.problems import Conflict, WrongInput
from tests import factories
from tests.factories import NOW, OFFICE_ACTOR
from travelers import release_job
from travelers.models import Task
from travelers.release import order_release
from travelers.release_job import RELEASE, release_make, release_progress, release_request
from travelers.replay import replay

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]

PIPE = {"kind": "pipe", "params": {"diameter": 8, "length": 20}}


def big(quantity: int = 501) -> Order:
    return factories.order(number="1042", lines=[factories.line(quantity=quantity, **PIPE)])


def ask(number: str = "1042") -> Job:
    return release_request(number=number, actor=OFFICE_ACTOR, now=timezone.now())


def work() -> bool:
    return work_once({RELEASE: release_make}, worker="one")


def test_more_than_five_hundred_fittings_or_a_hundred_lines_are_big():
    assert not release_job.is_big(big(500).number)
    assert release_job.is_big(
        factories.order(number="1", lines=[factories.line(quantity=501, **PIPE)]).number
    )
    many = [factories.line(quantity=1, **PIPE)] * 101
    assert release_job.is_big(factories.order(number="2", lines=many).number)
    assert not release_job.is_big(factories.order(number="3", lines=many[:100]).number)
    assert not release_job.is_big("nothing")


def test_the_page_asks_the_worker_and_says_how_far_it_is(office_page):
    big()
    page = office_page.post("/orders/1042/release/", follow=True).content.decode()
    assert "Being released" in page and "In the queue" in page and "Release to the floor" not in page
    assert Order.objects.get().state == "draft" and not Fitting.objects.exists()
    part = office_page.get("/orders/1042/release/progress/")
    assert "It is the next." in part.content.decode() and "HX-Refresh" not in part.headers

    assert work()
    part = office_page.get("/orders/1042/release/progress/")
    assert part.headers["HX-Refresh"] == "true"
    page = office_page.get("/orders/1042/").content.decode()
    assert "Order 1042 is on the floor: 501 fittings." in page and "Being released" not in page
    assert Fitting.objects.filter(order__number="1042", state="open").count() == 501
    order = Order.objects.get()
    assert (order.state, order.fittings_total, order.released_by) == ("released", 501, job_asker(office_page))
    assert replay(write=False).differences == []


def job_asker(page) -> str:
    return job_of(RELEASE, "1042").asked_by


def test_a_small_order_is_released_at_once(office_page):
    big(500)
    office_page.post("/orders/1042/release/")
    assert Order.objects.get().state == "released" and not Job.objects.exists()


def test_a_second_press_is_told_that_it_is_under_way(office_page):
    big()
    office_page.post("/orders/1042/release/")
    answer = office_page.post("/orders/1042/release/")
    assert answer.status_code == 409
    assert "The release of order 1042 is under way." in answer.content.decode()
    assert Job.objects.count() == 1


def test_what_cannot_be_released_is_not_asked_for():
    order = big()
    order.lines.all().delete()
    with pytest.raises(WrongInput, match="has no lines"):
        ask()
    order_cancel(number="1042", actor=OFFICE_ACTOR, now=NOW)
    with pytest.raises(Conflict, match="is cancelled"):
        ask()
    assert not Job.objects.exists()


def test_a_line_that_cannot_be_made_any_more_fails_it_with_its_sentence(office_page):
    big()
    ask()
    gauges = [dict(row) for row in tables.rows("gauges") if row["gauge"] != 24]
    services.table_change(name="gauges", data={"rows": gauges, "version": 1}, actor=OFFICE_ACTOR, now=NOW)
    assert work()
    assert not Fitting.objects.exists() and Order.objects.get().state == "draft"
    page = office_page.get("/orders/1042/").content.decode()
    assert "Nothing was released" in page and "Gauge is 24" in page

    order_update(
        number="1042",
        data={"version": 1, "lines": [factories.line(quantity=1, gauge=22, **PIPE)]},
        actor=OFFICE_ACTOR,
        now=timezone.now(),
    )
    assert "Nothing was released" not in office_page.get("/orders/1042/").content.decode()


def test_a_draft_that_is_cancelled_meanwhile_is_not_released():
    big()
    ask()
    order_cancel(number="1042", actor=OFFICE_ACTOR, now=timezone.now())
    assert work()
    assert job_of(RELEASE, "1042").state == "failed"
    assert Order.objects.get().state == "cancelled" and not Fitting.objects.exists()
    assert release_progress("1042", now=timezone.now()).failed == ""


def test_a_change_while_it_is_worked_out_is_in_the_release(monkeypatch):
    """The first working out is out of date when it would be written; the second one counts."""
    order = big()
    ask()
    ready = release_job.release_ready
    calls = []

    def changed_behind(number, tell):
        found = ready(number, tell)
        if not calls:
            data = {"version": order.version, "lines": [factories.line(quantity=7, **PIPE)]}
            order_update(number=number, data=data, actor=OFFICE_ACTOR, now=timezone.now())
        calls.append(number)
        return found

    monkeypatch.setattr(release_job, "release_ready", changed_behind)
    assert work()
    assert len(calls) == 2
    assert Fitting.objects.count() == Order.objects.get().fittings_total == 7


def test_one_that_breaks_off_while_writing_leaves_nothing_and_goes_on(monkeypatch):
    big()
    ask()

    def dies(*args, **kwargs):
        raise OSError("the disk is full")

    monkeypatch.setattr("travelers.release_rows._insert_tasks", dies)
    assert work()
    assert not Fitting.objects.exists() and not Task.objects.exists()
    assert job_of(RELEASE, "1042").state == "failed"
    monkeypatch.undo()
    ask()
    assert work() and Fitting.objects.count() == 501


def test_released_by_a_program_meanwhile_it_is_not_released_twice():
    big()
    ask()
    order_release(number="1042", actor=OFFICE_ACTOR, now=NOW)
    assert work()
    assert Fitting.objects.count() == 501
    assert job_of(RELEASE, "1042").state == "failed"
