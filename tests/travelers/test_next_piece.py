"""Which piece is next, and why: the rule by hand, against a plain definition, and from the database."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from functools import cmp_to_key

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import given
from hypothesis import strategies as st

from fittings.models import Fitting, Order
from tests import factories
from tests.travelers.floor import floor
from travelers.models import Task
from travelers.next_piece import Waiting, in_order, next_of, reason
from travelers.release import order_cancel, order_release
from travelers.station_work import Limits, queue_at

TODAY = date(2026, 3, 4)
MORNING = datetime(2026, 3, 4, 13, 0, tzinfo=UTC)


def waits(task: int, **changes) -> Waiting:
    usual = {"state": "ready", "due": TODAY + timedelta(days=9), "priority": 5, "ready_at": MORNING}
    return Waiting(task, **(usual | changes))


def days(count: int) -> date:
    return TODAY + timedelta(days=count)


# -- by hand -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({"state": "running", "due": days(9)}, {"due": days(-9)}),
        ({"due": days(9)}, {"state": "held", "due": days(-9)}),
        ({"due": days(-3)}, {"due": days(-1)}),
        ({"due": days(0)}, {"due": days(1), "is_last_piece": True}),
        ({"due": days(30)}, {"due": None, "is_last_piece": True, "priority": 1}),
        ({"is_last_piece": True, "ready_at": MORNING}, {"ready_at": MORNING - timedelta(days=3)}),
        ({"is_last_piece": True}, {"priority": 1}),
        ({"priority": 2}, {"priority": 3, "ready_at": MORNING - timedelta(days=3)}),
        ({"ready_at": MORNING - timedelta(minutes=1)}, {"ready_at": MORNING}),
        ({"ready_at": MORNING}, {"ready_at": None}),
        ({"is_pinned": True, "due": None}, {"due": days(-9), "is_last_piece": True, "priority": 1}),
        ({"is_pinned": True, "due": days(1)}, {"is_pinned": True, "due": days(2)}),
        ({"state": "running"}, {"is_pinned": True}),
    ],
)
def test_one_comes_before_the_other(first, second):
    for numbers in ((1, 2), (2, 1)):
        one, other = waits(numbers[0], **first), waits(numbers[1], **second)
        assert in_order([other, one]) == [one, other]
        assert in_order([one, other]) == [one, other]


def test_what_is_equal_in_everything_keeps_the_order_in_which_it_was_made():
    assert [one.task for one in in_order([waits(3), waits(1), waits(2)])] == [1, 2, 3]


@pytest.mark.parametrize(
    ("changes", "code", "number", "words"),
    [
        ({"state": "running", "is_pinned": True}, "started", None, "Started here"),
        ({"state": "held", "due": days(-2)}, "held", None, "On hold"),
        ({"is_pinned": True, "due": days(-2)}, "pinned", None, "Do this first"),
        ({"due": days(-2), "is_last_piece": True}, "late", 2, "Late 2 days"),
        ({"due": days(-1)}, "late", 1, "Late 1 day"),
        ({"due": days(0), "is_last_piece": True}, "due_today", None, "Due today"),
        ({"due": days(1), "is_last_piece": True}, "last_piece", None, "Last gore missing"),
        ({"due": days(1)}, "due_tomorrow", None, "Due tomorrow"),
        ({"due": days(9)}, "days_left", 9, "9 days left"),
        ({"due": None, "priority": 2}, "priority", 2, "Priority 2"),
        ({"due": None}, "no_date", None, "No due date"),
    ],
)
def test_the_reason_is_three_words_at_most(changes, code, number, words):
    found = reason(waits(1, **changes), today=TODAY, word="gore")
    assert found == (code, number, words)
    assert len(words.split()) <= 3


# -- against a plain definition ------------------------------------------------


def comes_before(one: Waiting, other: Waiting) -> bool:
    """The rule as it would be told: step by step, the first difference decides."""
    begun = {"running": "first", "ready": "second", "held": "third"}
    if one.state != other.state:
        return (
            sorted([begun[one.state], begun[other.state]], key=["first", "second", "third"].index)[0]
            == (begun[one.state])
        )
    if one.is_pinned != other.is_pinned:
        return one.is_pinned
    if one.due != other.due:
        if one.due is None or other.due is None:
            return other.due is None
        return one.due < other.due
    if one.is_last_piece != other.is_last_piece:
        return one.is_last_piece
    if one.priority != other.priority:
        return one.priority < other.priority
    if one.ready_at != other.ready_at:
        if one.ready_at is None or other.ready_at is None:
            return other.ready_at is None
        return one.ready_at < other.ready_at
    return one.task < other.task


some_work = st.builds(
    Waiting,
    task=st.integers(1, 10**6),
    state=st.sampled_from(["running", "ready", "held"]),
    due=st.none() | st.integers(-3, 3).map(days),
    priority=st.integers(1, 9),
    ready_at=st.none() | st.integers(0, 3).map(lambda hours: MORNING + timedelta(hours=hours)),
    is_pinned=st.booleans(),
    is_last_piece=st.booleans(),
)


@given(st.lists(some_work, max_size=30, unique_by=lambda one: one.task), st.integers(0, 30))
def test_the_order_is_the_plain_one(work, count):
    plain = sorted(work, key=cmp_to_key(lambda one, other: -1 if comes_before(one, other) else 1))
    assert in_order(work) == plain
    assert next_of(work, count) == plain[:count]


# -- from the database -----------------------------------------------------------


def due(on, day: date | None) -> None:
    Order.objects.filter(pk=on.order.pk).update(due_on=day)


def test_the_last_piece_of_a_fitting_comes_before_older_work_of_the_same_day(shop):
    older, short = floor(quantity=1), floor(quantity=1)
    for on in (older, short):
        due(on, days(3))
    for position in (1, 3):
        for operation in ("cut", "roll", "seam"):
            short.scan(operation, short.segment(position).code)
    queue = queue_at(["cut"])
    assert [(row.order, row.position) for row in queue] == [
        (short.order.number, 2),
        *((older.order.number, position) for position in (1, 2, 3)),
    ]
    assert [row.choice.is_last_piece for row in queue] == [True, False, False, False]


def test_a_fitting_of_one_piece_and_work_on_the_whole_lack_no_last_piece(shop):
    made = factories.order(
        lines=[factories.line(quantity=2, kind="pipe", params={"diameter": 14, "length": 20})]
    )
    order_release(number=made.number, actor=factories.OFFICE_ACTOR, now=factories.NOW)
    assert [row.choice.is_last_piece for row in queue_at(["cut"])] == [False, False]
    on = floor(quantity=1)
    for position in (1, 2, 3):
        on.scan("seam", on.segment(position).code)
    assert [row.choice.is_last_piece for row in queue_at(["assemble"])] == [False]


def test_a_piece_made_again_is_the_last_one_where_the_others_are_done(shop):
    on = floor(quantity=1)
    for position in (1, 2, 3):
        on.scan("seam", on.segment(position).code)
    on.scan("roll", on.segment(2).code, "scrap")
    queue = queue_at(["cut"])
    assert [(row.code, row.choice.is_last_piece) for row in queue] == [
        (on.segment(2, generation=2).code, True)
    ]


def test_what_was_begun_is_first_here_and_nowhere_else(shop):
    early, begun = floor(quantity=1), floor(quantity=1)
    due(early, days(1))
    due(begun, days(30))
    begun.scan("cut", begun.segment(2).code, "start")
    assert queue_at(["cut"], station="CUT-1", limit=1)[0].code == begun.segment(2).code
    others = queue_at(["cut"], station="CUT-2", limit=50)
    assert begun.segment(2).code not in {row.code for row in others}
    assert len(others) == 5


def test_a_station_with_limits_finds_what_it_takes_behind_any_number_that_it_does_not(shop):
    small = floor(quantity=1, diameter=6)
    due(small, days(90))
    wide = floor(quantity=100, diameter=30)
    due(wide, days(1))
    assert Task.objects.filter(fitting__order=wide.order, operation="cut").count() == 300
    found = queue_at(["cut"], limits=Limits(diameter_most_in=12), limit=8)
    assert {row.order for row in found} == {small.order.number}
    assert len(found) == 3


def test_queue_takes_as_many_queries_for_much_work_as_for_little(shop):
    for _ in range(4):
        floor(quantity=3)
    counts = []
    for _ in range(2):
        with CaptureQueriesContext(connection) as asked:
            assert len(queue_at(["cut"], limit=8)) == 8
        counts.append(len(asked))
        floor(quantity=60)
        floor(quantity=60, diameter=20)
    assert counts[0] == counts[1] <= 6


def test_few_are_the_first_of_all(shop):
    """What is read in parts and cut short is what a whole sorted list begins with."""
    for number, (quantity, day) in enumerate([(6, 3), (2, 3), (4, 1), (1, None), (5, 3)]):
        on = floor(quantity=quantity)
        Order.objects.filter(pk=on.order.pk).update(due_on=day and days(day), priority=1 + number * 2 % 9)
        for fitting in range(1, quantity + 1, 2):
            for position in (1, 2)[: fitting % 3]:
                on.scan("seam", on.segment(position, fitting).code)
        on.scan("cut", on.segment(3).code, ("start", "hold", "finish")[number % 3])
        later = MORNING + timedelta(hours=number)
        Task.objects.filter(fitting__order=on.order, segment__position=3).update(ready_at=later)
    every = queue_at(["cut", "roll"], limit=10_000)
    plain = sorted(
        (row.choice for row in every),
        key=cmp_to_key(lambda one, other: -1 if comes_before(one, other) else 1),
    )
    assert [row.choice for row in every] == plain
    shown = Task.objects.filter(operation__in=("cut", "roll"), state__in=("ready", "running", "held"))
    assert len(every) == shown.count() > 20
    for row in every:
        segments = list(Task.objects.get(pk=row.task).fitting.segments.values_list("state", flat=True))
        assert row.choice.is_last_piece == (segments.count("open") == 1)
    for limit in (1, 2, 3, 5, 8, 13):
        assert queue_at(["cut", "roll"], limit=limit) == every[:limit]
        wide = Limits(diameter_most_in=99)
        assert queue_at(["cut", "roll"], limits=wide, limit=limit) == every[:limit]


def test_void_and_finished_work_is_not_next(shop):
    on = floor(quantity=2)
    on.scan("wrap", on.fittings[0].code)
    assert {row.fitting for row in queue_at(["cut"], limit=50)} == {2}
    order_cancel(number=on.order.number, actor=factories.OFFICE_ACTOR, now=factories.NOW)
    assert queue_at(["cut"]) == []
    assert Fitting.objects.count() == 2
