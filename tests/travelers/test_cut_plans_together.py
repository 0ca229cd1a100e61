"""Several people and workers at the same plans at once, and workers that die: nothing is half done or done twice."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from datetime import timedelta

import pytest
from django.conf import settings
from django.db import connection

from fittings.models import CutPiece, CutPlan, Segment
from shared.jobs import Run, Work, job_of, work_once
from shared.models import Job
from shared.problems import Conflict
from tests.shared.job_runs import Killed
from tests.threads import together, until
from tests.travelers.cut_floor import (
    LATER,
    NOW,
    OFFICE,
    SUPERVISOR,
    cut,
    facts,
    live,
    made,
    proven_plan,
    released,
    requested,
    stock,
    work,
)
from tests.travelers.floor import badge
from travelers.cut_job import cut_plan_failed, cut_plan_make
from travelers.cut_plans import plan_again, plan_drop, plan_send
from travelers.cut_work import pieces_to_cut

pytestmark = pytest.mark.usefixtures("live_shop")


def each_once() -> None:
    """No segment's plate is on two live plans."""
    held = list(CutPiece.objects.filter(is_live=True).values_list("segment", "plate"))
    assert len(held) == len(set(held))


def tried(acts, found, told):
    """Each act as a thread runs it: what it gives to `found`, its refusal to `told`."""

    def one(act):
        def run():
            try:
                found.append(act())
            except Conflict as conflict:
                told.append(conflict)

        return run

    together(*map(one, acts))


def test_of_two_people_who_plan_the_same_work_the_second_is_told():
    released(quantity=6, pieces=5)
    stock()
    for round_ in range(1, 6):
        found, told = [], []
        acts = [lambda: requested(actor=OFFICE), lambda: requested(actor=SUPERVISOR)]
        tried(acts, found, told)
        assert (len(found), len(told)) == (1, 1)
        plan = found[0]
        assert plan.number == round_
        assert f"on cut plan {round_} (made by {plan.made_by})" in told[0].detail
        assert live(plan) == 30
        assert CutPiece.objects.count() == 30 * round_
        assert CutPlan.objects.count() == Job.objects.count() == round_
        each_once()
        plan_drop(number=plan.number, actor=OFFICE, now=LATER)


def test_people_who_plan_different_work_at_once_both_get_their_plan():
    orders = [released(quantity=2) for _ in range(4)]
    stock()
    found, told = [], []
    tried([lambda order=order: requested(orders=[order.number]) for order in orders], found, told)
    assert not told
    assert sorted(plan.number for plan in found) == [1, 2, 3, 4]
    each_once()
    assert pieces_to_cut(material="galvanized", gauge=24) == []


def test_a_plan_sent_twice_at_once_is_sent_once():
    released(quantity=2)
    size = stock(count=10)
    plan = made()
    found, told = [], []
    send = lambda: plan_send(number=plan.number, actor=OFFICE, now=LATER)  # noqa: E731
    tried([send, send, send], found, told)
    assert (len(found), len(told)) == (1, 2)
    size.refresh_from_db()
    assert size.count == 10 - plan.sheets.count()


def test_a_plan_sent_and_made_again_at_once_is_one_of_the_two():
    released(quantity=2)
    stock(count=10)
    plan = made()
    found, told = [], []
    tried(
        [
            lambda: plan_send(number=plan.number, actor=OFFICE, now=LATER),
            lambda: plan_again(number=plan.number, actor=OFFICE, now=LATER),
            lambda: plan_drop(number=plan.number, actor=SUPERVISOR, now=LATER),
        ],
        found,
        told,
    )
    plan.refresh_from_db()
    each_once()
    assert plan.state in ("sent", "dropped")
    assert (plan.state == "sent") == all(plan.sheets.values_list("code", flat=True))
    assert told


def test_a_piece_cut_while_its_plan_is_sent_is_either_on_the_sheet_or_refuses_the_plan():
    order = released(quantity=2)
    stock(count=50)
    code = Segment.objects.filter(fitting__order=order).order_by("pk").first().code
    who = badge("Sam Invented")
    plan = made()
    told = []

    def send():
        try:
            plan_send(number=plan.number, actor=OFFICE, now=LATER)
        except Conflict as conflict:
            told.append(conflict.detail)

    together(send, lambda: cut(code, badge=who))
    plan.refresh_from_db()
    assert (plan.state == "made" and code in told[0]) or (plan.state == "sent" and not told)


def test_two_workers_make_a_plan_once():
    released(quantity=4, pieces=5)
    stock()
    plan = requested()
    found = []
    together(lambda: found.append(work("one")), lambda: found.append(work("two")))
    plan.refresh_from_db()
    assert sorted(found) == [False, True]
    proven_plan(plan)


# -- workers that die --------------------------------------------------------


class Kill:
    """Gone before the n-th statement that this thread sends to the database."""

    def __init__(self, at: int):
        self.left = at

    def __call__(self, execute, sql, params, many, context):
        self.left -= 1
        if self.left <= 0:
            raise Killed
        return execute(sql, params, many, context)


def test_a_worker_killed_before_any_of_its_statements_leaves_nothing_half_done():
    released(quantity=2, pieces=3)
    stock(count=9)
    plan = requested()
    before = facts()
    statements = 0
    is_killed = True
    while is_killed:
        statements += 1

        Job.objects.update(wants_stop=True)  # the first layout will do

        def make(run: Run, at: int = statements) -> None:
            with connection.execute_wrapper(Kill(at)):
                cut_plan_make(run, compare=None)

        try:
            work_once({"cut_plan": Work(make, cut_plan_failed)}, worker="dying", now=lambda: LATER)
            is_killed = False
        except Killed:
            plan.refresh_from_db()
            if plan.state == "making":
                assert facts() == before
            else:  # killed between the plan's commit and the job's end
                proven_plan(plan)
            Job.objects.update(state="queued", attempts=0)
    plan.refresh_from_db()
    proven_plan(plan)
    assert (plan.state, live(plan), job_of("cut_plan", "1").state) == ("made", 6, "done")
    assert statements > 10


def test_a_send_killed_before_any_of_its_statements_leaves_the_plan_made():
    released()
    stock(count=9)
    plan = made()
    before = facts()
    statements = 0
    is_killed = True
    while is_killed:
        statements += 1
        try:
            with connection.execute_wrapper(Kill(statements)):
                plan_send(number=plan.number, actor=OFFICE, now=LATER)
            is_killed = False
        except Killed:
            assert facts() == before
    plan.refresh_from_db()
    assert plan.state == "sent"
    assert all(plan.sheets.values_list("code", flat=True))
    assert statements > 8


def test_a_plan_whose_worker_dies_again_and_again_fails_and_frees_its_pieces():
    released()
    stock()
    plan = requested()

    def gone(run: Run) -> None:
        raise Killed

    def at(minute: int) -> bool:
        moment = NOW + timedelta(minutes=minute)
        return work_once({"cut_plan": Work(gone, cut_plan_failed)}, worker=f"w{minute}", now=lambda: moment)

    for minute in range(3):
        with pytest.raises(Killed):
            at(minute)
    assert at(3)
    plan.refresh_from_db()
    assert (plan.state, live(plan)) == ("failed", 0)
    assert "broke off" in plan.message
    assert len(pieces_to_cut(material="galvanized", gauge=24)) == 6


def test_a_fault_of_the_program_fails_the_plan_and_frees_its_pieces():
    released()
    stock()
    plan = requested()

    def faulty(run: Run) -> None:
        raise RuntimeError("a fault")

    assert work_once({"cut_plan": Work(faulty, cut_plan_failed)}, worker="w", now=lambda: LATER)
    plan.refresh_from_db()
    assert (plan.state, live(plan)) == ("failed", 0)


def test_a_plan_dropped_while_it_is_searched_is_not_made():
    released(quantity=4, pieces=5)
    stock()
    plan = requested()

    def dropped_meanwhile(run: Run) -> None:
        plan_drop(number=plan.number, actor=OFFICE, now=LATER)
        cut_plan_make(run)

    assert work_once({"cut_plan": Work(dropped_meanwhile, cut_plan_failed)}, worker="w", now=lambda: LATER)
    plan.refresh_from_db()
    assert (plan.state, plan.sheets.count(), live(plan)) == ("dropped", 0, 0)
    assert job_of("cut_plan", "1").state == "cancelled"


def test_a_worker_process_killed_while_it_searches_leaves_the_plan_to_the_next(tmp_path):
    released(quantity=20, pieces=7)
    stock()
    plan = requested(effort="long")
    before = facts()
    process = _worker_process()
    try:
        until(lambda: job_of("cut_plan", "1").state != "queued", 60, pause=0.02)
        os.kill(process.pid, signal.SIGKILL)
    finally:
        process.kill()
        process.wait(10)
    job = job_of("cut_plan", "1")
    assert job.state != "queued", "the process took the job"
    plan.refresh_from_db()
    if plan.state == "making":
        assert facts() == before
        assert job.state == "running"
    Job.objects.filter(pk=job.pk, state="running").update(heartbeat_at=NOW, wants_stop=True)
    assert work("next") or plan.state == "made"
    plan.refresh_from_db()
    proven_plan(plan)
    assert (plan.state, live(plan)) == ("made", 140)


def _worker_process() -> subprocess.Popen:
    """A worker of its own process on the database of the tests."""
    script = (
        "import os, sys, django\n"
        "from django.conf import settings\n"
        "settings.DATABASES['default']['NAME'] = sys.argv[1]\n"
        "django.setup()\n"
        "from shared.jobs import work_once\n"
        "from travelers.cut_job import CUT_PLAN_WORK\n"
        "work_once({'cut_plan': CUT_PLAN_WORK}, worker='killed one')\n"
    )
    name = str(connection.settings_dict["NAME"])
    return subprocess.Popen(
        [sys.executable, "-c", script, name],
        cwd=settings.BASE_DIR,
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "shopfloor.settings"},
    )
