"""Six threads, every id delivered several times in shuffled order: one effect an id, nothing missed by a reader.

The same test on SQLite and PostgreSQL; each thread has a connection of its own, as every process of the app has.
"""

from __future__ import annotations

import random
import threading
import uuid
from collections import Counter, defaultdict
from datetime import timedelta

import pytest

from fittings.models import Fitting, Order, Segment
from shared.problems import Conflict
from tests import factories
from tests.threads import together
from tests.travelers.floor import LATER, NOW, badge, station
from travelers.history import record_page
from travelers.models import Scan, ScanMismatch, ScanTarget, Task, Traveler
from travelers.record import scan_record
from travelers.release import order_cancel, order_release
from travelers.replay import replay

THREADS = 6
DELIVERIES = 3


def released(count: int) -> list[Order]:
    params = {"diameter": 14, "angle": 90, "pieces": 3, "radius_ratio": 1.5}
    return [
        order_release(
            number=factories.order(lines=[factories.line(quantity=2, params=params)]).number,
            actor=factories.OFFICE_ACTOR,
            now=NOW,
        )
        for _ in range(count)
    ]


def work_of(orders: list[Order], chance: random.Random, who: str) -> list[tuple[str, dict]]:
    """Scans that take every order to its end, with starts, holds, scraps, undos and faults among them."""
    made: list[tuple[str, dict]] = []
    minute = 0

    def add(operation: str, code: str, action: str, **more) -> str:
        nonlocal minute
        minute += 1
        body = {
            "id": str(uuid.UUID(int=chance.getrandbits(128), version=4)),
            "code": code,
            "action": action,
            "badge": who,
            "reason": "Stain" if action in ("hold", "scrap") else "",
            "scanned_at": (NOW + timedelta(minutes=minute)).isoformat(),
            **more,
        }
        made.append((operation, body))
        return body["id"]

    for order in orders:
        for fitting in Fitting.objects.filter(order=order):
            segments = list(Segment.objects.filter(fitting=fitting).values_list("code", flat=True))
            for operation in ("cut", "roll", "seam"):
                for code in segments:
                    if chance.random() < 0.4:
                        add(operation, code, "start")
                    add(operation, code, "finish")
                    if chance.random() < 0.1:
                        add(operation, code, "finish")
            undone = add("assemble", fitting.code, "finish")
            add("assemble", fitting.code, "undo", undoes=undone)
            add("assemble", fitting.code, "finish")
            add("wrap", fitting.code, "finish")
        add("cut", "NOT-A-CODE", "finish")
    return made


@pytest.mark.django_db(transaction=True)
def test_six_threads_with_every_scan_three_times_have_one_effect_each(live_shop):
    chance = random.Random(11)
    orders = released(4)
    scans = work_of(orders, chance, badge())
    answers: dict[str, list] = defaultdict(list)
    lock = threading.Lock()
    shares = [list(scans) for _ in range(DELIVERIES)]
    deliveries = [one for share in shares for one in share]
    chance.shuffle(deliveries)
    finished = threading.Event()
    left = [THREADS]

    def deliver(mine: list) -> None:
        try:
            for operation, body in mine:
                found = scan_record(delivery=body, actor=station(operation), now=LATER)
                with lock:
                    answers[body["id"]].append(found)
        finally:
            with lock:
                left[0] -= 1
                if left[0] == 0:
                    finished.set()

    seen: list[int] = []

    def read() -> None:
        """A reader that goes past what it has seen; a row that appears behind it is missed for ever."""
        since = 0
        while True:
            last_look = finished.is_set()
            for row in record_page({"since": str(since), "page_size": "7"})["results"]:
                seen.append(row["sequence"])
                since = row["sequence"]
            if last_look and not record_page({"since": str(since)})["results"]:
                return

    acts = [lambda at=at: deliver(deliveries[at::THREADS]) for at in range(THREADS)]
    together(*acts, read)

    assert len(answers) == len(scans)
    for found in answers.values():
        assert len(found) == DELIVERIES
        outcomes = Counter(one.outcome for one in found)
        assert outcomes["repeated"] == DELIVERIES - 1, "the first delivery alone is judged"
        assert len({(one.first_outcome, one.message, one.sequence) for one in found}) == 1
        assert sum(one.changed for one in found if one.outcome == "repeated") == 0
    assert Scan.objects.count() == len(scans)
    assert ScanMismatch.objects.count() == 0
    assert seen == list(range(1, len(scans) + 1)), "gapless, in order, none missed"
    assert replay(write=False).differences == []
    first = {found[0].id: found[0].first_outcome for found in answers.values()}
    assert Counter(first.values())["recorded"] > len(scans) * 0.5


@pytest.mark.django_db(transaction=True)
def test_in_whatever_order_finishes_arrive_every_fitting_ends_done(live_shop):
    """Finishes alone, one an operation and piece, never contradict: whatever overtakes what, all are recorded."""
    chance = random.Random(5)
    orders = released(3)
    who = badge()
    scans = [
        (operation, body)
        for operation, body in work_of(orders, random.Random(1), who)
        if body["action"] == "finish" and body["code"] != "NOT-A-CODE"
    ]
    once = {(operation, body["code"]): (operation, body) for operation, body in scans}
    deliveries = list(once.values()) * 2
    chance.shuffle(deliveries)

    def deliver(mine) -> None:
        for operation, body in mine:
            scan_record(delivery=body, actor=station(operation), now=LATER)

    together(*[lambda at=at: deliver(deliveries[at::THREADS]) for at in range(THREADS)])
    assert set(Scan.objects.values_list("outcome", flat=True)) == {"recorded"}
    assert set(Task.objects.values_list("state", "is_implied")) == {("done", False)}
    assert set(Order.objects.values_list("state", "fittings_done")) == {("done", 2)}
    assert replay(write=False).differences == []


@pytest.mark.django_db(transaction=True)
def test_one_id_from_six_tablets_at_the_same_moment(live_shop):
    order = released(1)[0]
    who = badge()
    codes = list(Segment.objects.filter(fitting__order=order).values_list("code", flat=True))
    for number, code in enumerate(codes):
        body = {"id": f"the-same-id-{number}", "code": code, "action": "finish", "badge": who}
        found = []
        together(
            *[
                lambda body=body, found=found: found.append(
                    scan_record(delivery=body, actor=station("cut"), now=LATER)
                )
                for _ in range(THREADS)
            ]
        )
        assert Counter(one.outcome for one in found) == {"recorded": 1, "repeated": THREADS - 1}
        assert sum(one.changed for one in found) == 2
    assert Scan.objects.count() == ScanTarget.objects.count() == len(codes)


@pytest.mark.django_db(transaction=True)
def test_one_id_for_different_pieces_at_the_same_moment(live_shop):
    """No shared fitting is locked here: only the database's rule that an id is there once decides."""
    orders = released(THREADS)
    who = badge()
    codes = list(Segment.objects.filter(position=1, fitting__number=1).values_list("code", flat=True))
    assert len(codes) == len(orders)
    for round_ in range(5):
        found = []
        together(
            *[
                lambda code=code, found=found, round_=round_: found.append(
                    scan_record(
                        delivery={"id": f"one-id-{round_}", "code": code, "action": "start", "badge": who},
                        actor=station("cut"),
                        now=LATER,
                    )
                )
                for code in codes
            ]
        )
        assert Counter(one.outcome for one in found)["repeated"] == THREADS - 1
        assert len({(one.message, one.sequence) for one in found}) == 1
    assert Scan.objects.count() == 5
    assert ScanMismatch.objects.count() == 5 * (THREADS - 1)
    assert replay(write=False).differences == []


@pytest.mark.django_db(transaction=True)
def test_lots_that_overlap_do_not_lock_each_other_out(live_shop):
    """A traveler's scan locks many fittings, a label's one of them: in primary-key order nobody waits in a ring."""
    order = released(1)[0]
    who = badge()
    traveler = Traveler.objects.get(line__order=order).code
    fittings = list(Fitting.objects.filter(order=order).order_by("-pk").values_list("code", flat=True))
    acts = []
    for number, (operation, code) in enumerate(
        [("cut", traveler), ("roll", traveler), ("seam", traveler), *[("cut", one) for one in fittings],
         *[("roll", one) for one in fittings]]
    ):  # fmt: skip
        body = {
            "id": f"lot-scan-{number}",
            "code": code,
            "action": "finish",
            "badge": who,
            "scanned_at": (NOW + timedelta(minutes=number)).isoformat(),
        }
        acts.append(
            lambda operation=operation, body=body: scan_record(
                delivery=body, actor=station(operation), now=LATER
            )
        )
    together(*acts)
    assert Scan.objects.count() == len(acts)
    assert set(Task.objects.filter(operation="seam").values_list("state", flat=True)) == {"done"}
    assert replay(write=False).differences == []


@pytest.mark.django_db(transaction=True)
def test_a_release_from_several_threads_happens_once(live_shop):
    number = factories.order().number
    outcomes: list[str] = []

    def release() -> None:
        try:
            order_release(number=number, actor=factories.OFFICE_ACTOR, now=NOW)
            outcomes.append("released")
        except Conflict:
            outcomes.append("conflict")

    together(*[release] * THREADS)
    assert Counter(outcomes) == {"released": 1, "conflict": THREADS - 1}
    assert Fitting.objects.count() == 4
    assert Segment.objects.count() == 20
    assert Task.objects.count() == 20 * 3 + 4 * 2
    codes = [*Segment.objects.values_list("code", flat=True), *Fitting.objects.values_list("code", flat=True)]
    codes += Traveler.objects.values_list("code", flat=True)
    assert len(set(codes)) == 25


@pytest.mark.django_db(transaction=True)
def test_releases_of_different_orders_give_no_code_twice(live_shop):
    numbers = [factories.order().number for _ in range(THREADS)]
    together(
        *[
            lambda number=number: order_release(number=number, actor=factories.OFFICE_ACTOR, now=NOW)
            for number in numbers
        ]
    )
    codes = [*Segment.objects.values_list("code", flat=True), *Fitting.objects.values_list("code", flat=True)]
    assert len(set(codes)) == len(codes) == THREADS * 24


@pytest.mark.django_db(transaction=True)
def test_cancelling_an_order_while_its_last_scans_arrive(live_shop):
    """A scan that ends a fitting locks it, then its order; cancelling needs both too."""
    who = badge()
    for round_ in range(8):
        order = released(1)[0]
        bodies = [
            {"id": f"last-scan-{round_}-{code}", "code": code, "action": "finish", "badge": who}
            for code in Fitting.objects.filter(order=order).values_list("code", flat=True)
        ]

        def cancel(order=order) -> None:
            try:
                order_cancel(number=order.number, actor=factories.OFFICE_ACTOR, now=LATER)
            except Conflict:
                assert Order.objects.get(pk=order.pk).state == "done"

        together(
            cancel,
            *[
                lambda body=body: scan_record(delivery=body, actor=station("wrap"), now=LATER)
                for body in bodies
            ],
        )
    assert replay(write=False).differences == []
    assert set(Order.objects.values_list("state", flat=True)) <= {"cancelled", "done"}
