"""Orders, releases, scans (late, undone), changes and cancels in any order: what must hold after every one of them.

`SHOPFLOOR_CASES=10` tries ten times as many.
"""

from __future__ import annotations

import uuid
from collections import Counter
from datetime import timedelta

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    INVARIANT_MARKER,
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from fittings.models import CutPiece, Fitting, KeptPiece, Order, OrderLine, Segment
from shared.problems import Problem
from tests import factories
from tests.cases import cases
from tests.travelers.amend_desk import ACTOR, NOW
from tests.travelers.floor import badge, facts, station
from travelers.amend import change_show, order_change
from travelers.amend_cancel import order_cancel
from travelers.models import Task, Traveler
from travelers.record import scan_record
from travelers.release import order_release
from travelers.replay import replay

pytestmark = pytest.mark.usefixtures("shop")

OPERATIONS = ("cut", "roll", "seam", "assemble", "wrap")
ACTIONS = ("finish", "finish", "finish", "start", "hold", "resume", "scrap", "undo")
CHOICES = ("keep", "scrap", "go_on")


def elbow(diameter: int) -> dict:
    return {"diameter": diameter, "angle": 90, "pieces": 2, "radius_ratio": 1.5}


class Sequence(RuleBasedStateMachine):
    """One shop; a minute goes by with each step. `over`: what of each line went on by choice beyond its quantity."""

    @initialize()
    def begin(self):
        self.minute = 0
        self.badge = badge(f"Sam Invented {uuid.uuid4().hex[:6]}")
        self.orders: list[str] = []
        self.over: Counter[int] = Counter()
        self.released: dict[str, int] = {}

    @property
    def now(self):
        self.minute += 1
        return NOW + timedelta(minutes=self.minute)

    # -- steps ---------------------------------------------------------------

    @precondition(lambda self: len(self.orders) < 2)
    @rule(quantity=st.integers(1, 3), per=st.sampled_from(("lot", "fitting")), lines=st.integers(1, 2))
    def an_order_is_released(self, quantity, per, lines):
        given = [
            factories.line(quantity=quantity, params=elbow(10 + 2 * at), traveler_per=per)
            for at in range(lines)
        ]
        order = factories.order(lines=given)
        order_release(number=order.number, actor=ACTOR, now=self.now)
        self.orders.append(order.number)

    @precondition(lambda self: self.orders)
    @rule(
        which=st.integers(0, 10**6),
        kind=st.sampled_from(("segment", "segment", "fitting", "lot")),
        operation=st.sampled_from(OPERATIONS),
        action=st.sampled_from(ACTIONS),
        back=st.sampled_from((0, 0, 0, 1, 3, 7)),
    )
    def a_scan_comes(self, which, kind, operation, action, back):
        """Of any code that was ever printed, now or as late as seven steps."""
        codes = (
            {
                "segment": Segment.objects,
                "fitting": Fitting.objects,
                "lot": Traveler.objects,
            }[kind]
            .order_by("pk")
            .values_list("code", flat=True)
        )
        now = self.now
        scan_record(
            delivery={
                "id": str(uuid.uuid4()),
                "code": codes[which % len(codes)],
                "action": action,
                "badge": self.badge,
                "reason": "",
                "scanned_at": (now - timedelta(minutes=back, seconds=30 * bool(back))).isoformat(),
            },
            actor=station(operation),
            now=now,
        )

    @precondition(lambda self: Fitting.objects.exclude(taken_out_at=None).exists())
    @rule(which=st.integers(0, 10**6), action=st.sampled_from(("finish", "finish", "start", "undo")))
    def a_scan_of_before_a_change_comes_late(self, which, action):
        """Of a label that is gone, as it was cut just before."""
        gone = Segment.objects.exclude(fitting__taken_out_at=None).order_by("pk")
        one = gone.select_related("fitting")[which % gone.count()]
        scan_record(
            delivery={
                "id": str(uuid.uuid4()),
                "code": one.code,
                "action": action,
                "badge": self.badge,
                "reason": "",
                "scanned_at": (one.fitting.taken_out_at - timedelta(seconds=10)).isoformat(),
            },
            actor=station("cut"),
            now=self.now,
        )

    @precondition(lambda self: self.orders)
    @rule(
        which=st.integers(0, 1),
        at=st.integers(0, 5),
        what=st.sampled_from(("quantity", "size", "cancel", "tag")),
        quantity=st.integers(1, 4),
        diameter=st.sampled_from((10, 12, 16)),
        started=st.sampled_from(CHOICES),
        adds=st.booleans(),
        is_stale=st.sampled_from((False, False, False, True)),
    )
    def an_order_is_changed(self, which, at, what, quantity, diameter, started, adds, is_stale):
        order = Order.objects.get(number=self.orders[which % len(self.orders)])
        lines = list(order.lines.order_by("position"))
        if not lines:
            return
        line = lines[at % len(lines)]
        wish = {
            "quantity": {"quantity": quantity},
            "size": {"params": elbow(diameter), "quantity": quantity},
            "cancel": {"cancel": True},
            "tag": {"tag": f"T{quantity}"},
        }[what]
        asked = [{"line": line.position, "started": started, **wish}]
        if adds:
            asked.append(factories.line(quantity=1, params=elbow(diameter)))
        data = {"version": order.version - is_stale, "lines": asked}
        before, now = facts(), self.now
        try:
            shown = change_show(number=order.number, data=data, now=now)
            assert facts() == before
            data["seen"] = shown.seen
            with transaction.atomic():
                made = order_change(number=order.number, data=data, actor=ACTOR, now=now)
        except Problem:
            assert facts() == before
            return
        assert not is_stale
        assert made.seen == shown.seen
        for one in made.lines:
            if one.wish.line is None:
                continue
            if one.wish.kind in ("cancel", "replace", "count"):
                self.over[one.wish.line.pk] = one.stays - (
                    min(one.wish.given.quantity, one.stays) if one.wish.kind == "count" else 0
                )

    @precondition(lambda self: self.orders)
    @rule(which=st.integers(0, 1), started=st.sampled_from(("", "keep", "scrap")))
    def an_order_is_cancelled(self, which, started):
        if self.minute % 3:  # not too often: a cancelled order ends the story
            return
        before = facts()
        try:
            with transaction.atomic():
                order_cancel(
                    number=self.orders[which % len(self.orders)], started=started, actor=ACTOR, now=self.now
                )
        except Problem:
            assert facts() == before

    # -- what must hold ---------------------------------------------------------

    @invariant()
    def the_record_gives_what_is_stored(self):
        assert replay(write=False).differences == []

    @invariant()
    def every_line_has_as_many_fittings_as_are_ordered(self):
        """Open and done ones of the lines that stand; of ended lines those that go on by choice."""
        counts = Counter(
            Fitting.objects.filter(taken_out_at=None, state__in=("open", "done"))
            .exclude(order__state="cancelled")
            .values_list("line_id", flat=True)
        )
        for line in OrderLine.objects.exclude(order__state="cancelled"):
            wanted = 0 if line.ended_version else line.quantity
            assert counts[line.pk] == wanted + self.over[line.pk], f"line {line} {line.name}"

    @invariant()
    def every_fitting_is_in_one_state_and_has_all_its_segments_once(self):
        kept = Counter(
            KeptPiece.objects.filter(used_at=None, ended_at=None).values_list("fitting_id", "segment_id")
        )
        assert set(kept.values()) <= {1}
        for fitting in Fitting.objects.prefetch_related("segments", "tasks"):
            own = list(fitting.segments.all())
            current = Counter(one.position for one in own if one.state in ("open", "done"))
            if fitting.state == "open":
                assert current == {1: 1, 2: 1}
            elif fitting.state == "done":
                assert current == {1: 1, 2: 1}
                is_kept = (fitting.pk, None) in kept
                assert is_kept == bool(fitting.taken_out_at)
            else:
                assert not current
                assert fitting.state in ("void", "scrapped")
                assert not [task for task in fitting.tasks.all() if task.state not in ("done", "void")]
            for position in (1, 2):
                generations = [one.generation for one in own if one.position == position]
                assert sorted(generations) == list(range(1, len(generations) + 1))

    @invariant()
    def every_piece_of_metal_is_accounted_for(self):
        """A segment that is cut is in an open or finished fitting, is scrapped, or is kept; one that is kept is cut."""
        kept = set(
            KeptPiece.objects.filter(used_at=None, ended_at=None)
            .exclude(segment=None)
            .values_list("segment_id", flat=True)
        )
        cut = set(Task.objects.filter(operation="cut", state="done").values_list("segment_id", flat=True))
        assert kept <= cut
        for segment in Segment.objects.filter(pk__in=cut).select_related("fitting", "fitting__order"):
            fitting = segment.fitting
            by_default = fitting.order.state == "cancelled" and not fitting.taken_out_at
            places = [
                segment.state in ("open", "done"),
                segment.state == "scrapped",
                segment.pk in kept,
                segment.state == "void" and (by_default or segment.generation > 1) and segment.pk not in kept,
            ]
            assert sum(places) == 1, (segment, segment.state, fitting.state, places)

    @invariant()
    def every_open_fitting_goes_with_a_traveler_that_stands(self):
        standing = {one.code: one for one in Traveler.objects.filter(void_at=None)}
        for fitting in Fitting.objects.filter(taken_out_at=None):
            traveler = standing[fitting.traveler_code]
            assert traveler.line_id == fitting.line_id
            assert traveler.first_number <= fitting.number <= traveler.last_number

    @invariant()
    def every_traveler_that_stands_goes_with_a_fitting(self):
        for one in Traveler.objects.filter(void_at=None):
            mine = Fitting.objects.filter(line=one.line_id, traveler_code=one.code, taken_out_at=None)
            assert mine.exists(), one.code

    @invariant()
    def counts_of_orders_are_those_of_their_fittings(self):
        for order in Order.objects.exclude(state="draft"):
            mine = Fitting.objects.filter(order=order, taken_out_at=None)
            assert order.fittings_total == mine.count()
            assert order.fittings_done == mine.filter(state="done").count()

    @invariant()
    def nothing_that_is_gone_lies_on_a_sheet_to_be_cut(self):
        gone = CutPiece.objects.filter(is_live=True, segment__state="void")
        assert not gone.exists()


class Rolled(Sequence):
    """Each sequence in a transaction of its own, undone at its end."""

    def __init__(self):
        super().__init__()
        self.block = transaction.atomic()
        self.block.__enter__()

    def teardown(self):
        transaction.set_rollback(True)
        self.block.__exit__(None, None, None)


def test_sequences_of_changes_keep_what_must_hold():
    run_state_machine_as_test(
        Rolled,
        settings=settings(
            max_examples=cases(12),
            stateful_step_count=20,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            print_blob=True,
        ),
    )


# -- that it bites -------------------------------------------------------------


def told(after_release) -> None:
    """An order of two elbows, what happens to it, and what must hold after each step."""
    story = Rolled()
    try:
        story.begin()
        story.an_order_is_released(quantity=2, per="lot", lines=1)
        for step, given in after_release:
            getattr(story, step)(**given)
            for name in dir(Sequence):
                if hasattr(getattr(Sequence, name), INVARIANT_MARKER):
                    getattr(story, name)()
    finally:
        story.teardown()


def change(what: str, *, quantity: int = 1, adds: bool = False) -> tuple[str, dict]:
    given = {"which": 0, "at": 0, "what": what, "quantity": quantity, "diameter": 16, "started": "keep"}
    return "an_order_is_changed", given | {"adds": adds, "is_stale": False}


LATE = ("a_scan_of_before_a_change_comes_late", {"which": 0, "action": "finish"})
BREAKS = {
    "late scans leave no kept piece": ("travelers.record.kept_follow", [change("cancel", adds=True), LATE]),
    "an order is not counted anew": ("travelers.amend.order_count", [change("quantity")]),
    "what goes is not taken out": ("travelers.amend.fittings_leave", [change("quantity")]),
    "travelers are not renewed": ("travelers.amend.travelers_renew", [change("size")]),
}


@pytest.mark.parametrize("broken", BREAKS)
def test_a_broken_change_is_noticed(broken, monkeypatch):
    """The same story holds as it is, and not with one part of a change left out."""
    name, steps = BREAKS[broken]
    told(steps)
    monkeypatch.setattr(name, lambda *args, **given: None)
    with pytest.raises((AssertionError, KeyError)):
        told(steps)
