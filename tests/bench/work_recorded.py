"""Some days of a shop's work, recorded by the app's own services, from one Monday on."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial

LINES, QUANTITY = 5, 10
CUSTOMERS = 400
SLOTS = ((0, 10), (0, 14), (1, 9), (1, 13), (2, 9), (2, 13))
"""Days after Monday and hours at which the steps of a route begin."""
OF_A_SHEET = 0
"""The order of the recorded ones whose pieces are cut by a plan."""


class Recorded:
    """Orders entered, quoted, released, scanned, delivered, all by the app's own services, from one Monday on."""

    def __init__(self, orders: int, begin: datetime):
        from shared.roles import OFFICE, SUPERVISOR, Actor
        from shopfloor.models import Station
        from travelers.models import Operator

        self.orders, self.begin = orders, begin
        self.luck = random.Random(11)
        self.office, self.supervisor = Actor("office", OFFICE), Actor("supervisor", SUPERVISOR)
        self.stations = list(Station.objects.order_by("position"))
        self.badges = list(Operator.objects.order_by("pk").values_list("code", flat=True))
        self.acts: list[tuple[datetime, int, Callable]] = []

    def at(self, moment: datetime, act: Callable, *args) -> None:
        self.acts.append((moment, len(self.acts), partial(act, *args)))

    def time(self, day: int, hour: float) -> datetime:
        """By the clock of a shop some hours west."""
        return self.begin + timedelta(days=day, hours=hour + 6)

    def run(self) -> None:
        from fittings.events import events_number
        from fittings.models import Customer
        from shopfloor.order_costs import costs_bring_up
        from tests.bench import bench_find

        Customer.objects.bulk_create(Customer(name=name) for name in customer_names())
        for order in range(self.orders):
            self.entered(order, [bench_find.line(self.luck) for _ in range(LINES)])
        while self.acts:  # an act may bring others
            now, self.acts = sorted(self.acts, key=lambda act: act[:2]), []
            for moment, _, act in now:
                act(moment=moment)
        for at, station in enumerate(self.stations[:2]):
            self.was_down(station.code, self.time(at, 11))
        while events_number():
            pass
        costs_bring_up(now=self.time(5, 8))

    # the office

    def entered(self, number: int, lines: list[dict]) -> None:
        from fittings.orders import order_create
        from shopfloor.models import Promise
        from travelers.quotes import quote_make, quote_mark
        from travelers.release import order_release

        for at, line in enumerate(lines):
            line |= {"quantity": QUANTITY, "tag": f"{('AHU', 'EXH', 'LEV')[at % 3]}-{number * LINES + at}"}
            if number == OF_A_SHEET:
                line |= {"material": "galvanized", "gauge": 18}
        moment = self.time(0, 7 + number % 20 / 20)
        data = {
            "customer": customer_names()[number % CUSTOMERS],
            "purchase_order": f"PO-{30_000 + number}",
            "due": (self.begin + timedelta(days=7)).date().isoformat(),
            "priority": 5,
            "lines": lines,
        }
        order = order_create(data=data, actor=self.office, now=moment)
        if number % 4 == 0:
            quote = quote_make(number=order.number, actor=self.office, now=moment)
            for state in ("sent", "accepted"):
                quote_mark(number=quote.number, state=state, actor=self.office, now=moment)
        order = order_release(number=order.number, actor=self.office, now=moment + timedelta(minutes=20))
        for hour in (9, 15):
            asked = self.time(0, hour)
            Promise.objects.create(
                order=order, state="made", asked_by="worker", asked_at=asked, runs=100,
                likely_at=self.time(3, hour), sure_at=self.time(4, hour),
            )  # fmt: skip
        if number == OF_A_SHEET:
            self.planned(order, moment + timedelta(minutes=40))
        for line in order.lines.order_by("position"):
            self.line_made(number, line)
        self.at(self.time(3, 10 + number % 20 / 10), self.left, order.number)

    def planned(self, order, moment: datetime) -> None:
        """Its pieces on sheets, and these scanned when they are cut."""
        from fittings.cutting import QUICK
        from fittings.models import StockItem
        from fittings.stock import stock_for
        from shared.jobs import Run, Work, work_once
        from travelers.cut_job import cut_plan_failed, cut_plan_make
        from travelers.cut_plans import CUT_PLAN, plan_request, plan_send

        def make(run: Run) -> None:
            cut_plan_make(run, compare=None)

        stock = [item.pk for item in stock_for("galvanized", 18) if item.form == StockItem.Form.SHEET]
        plan = plan_request(
            material="galvanized", gauge=18, orders=[order.number], stock_ids=stock[-1:], effort=QUICK,
            actor=self.office, now=moment,
        )  # fmt: skip
        work_once({CUT_PLAN: Work(make, cut_plan_failed)}, worker="bench", now=lambda: moment)
        plan_send(number=plan.number, actor=self.office, now=moment)
        for at, code in enumerate(plan.sheets.order_by("position").values_list("code", flat=True)):
            self.at(self.time(0, 10 + at / 20), self.scan, "cut", code, "finish", "recorded")

    def left(self, number: str, moment: datetime) -> None:
        from travelers.shipping import delivery_make, delivery_receive

        made = delivery_make(number=number, wanted=None, actor=self.office, now=moment)
        strokes = [[[100, 200], [300, 100], [500, 300], [700, 200]]]
        delivery_receive(
            pk=made.pk,
            name="Ina Invented",
            strokes=strokes,
            actor=self.office,
            now=moment + timedelta(hours=2),
        )

    def was_down(self, station: str, moment: datetime) -> None:
        from shopfloor.downtime import downtime_end, downtime_tell

        down = downtime_tell(station=station, actor=self.supervisor, now=moment)
        downtime_end(pk=down.pk, actor=self.supervisor, now=moment + timedelta(minutes=50))

    # the floor

    def line_made(self, order: int, line) -> None:
        """A lot through its route: most by the code of each fitting, every fifth by its traveler."""
        from travelers.models import Task

        steps = Task.objects.filter(fitting__line=line).order_by("step").values_list("step", "operation_id")
        route = [operation for _, operation in sorted(set(steps))]
        fittings = list(line.fittings.order_by("number"))
        is_lot = (order + line.position) % 5 == 0
        codes = [fittings[0].traveler_code] if is_lot else [one.code for one in fittings]
        odd = fittings[order % QUANTITY]
        for step, operation in enumerate(route):
            if operation == "cut" and order == OF_A_SHEET:
                continue
            if step == 2 and order == 1 and line.position == 1:
                continue  # nobody scanned it, the next step shows that it was done
            day, hour = SLOTS[step]
            for at, code in enumerate(codes):
                moment = self.time(day, hour + (order % 20) / 20 + line.position / 10 + at / 60)
                if is_lot or self.luck.random() < 0.45:
                    began = moment - timedelta(minutes=30 if is_lot else 3)
                    self.at(began, self.scan, operation, code, "start", "recorded")
                self.at(moment, self.scan, operation, code, "finish", "recorded")
            after = self.time(day, hour + 2)
            if step == 1 and order % 7 == 2 and line.position == 2:
                self.at(after, self.spoiled, odd, route[:2])
            if step == 1 and order % 3 == 0 and line.position == 3:
                self.at(after, self.scan, route[2], odd.code, "hold", "recorded", "Waiting for metal")
                self.at(after + timedelta(minutes=25), self.scan, route[2], odd.code, "resume", "recorded")
            if step == 3 and order % 4 == 1 and line.position == 4:
                for minute, action in enumerate(("undo", "finish")):
                    again = after + timedelta(minutes=minute)
                    self.at(again, self.scan, operation, codes[-1], action, "recorded")
            if step == 4 and line.position == 5:
                self.at(after, self.scan, operation, codes[-1], "finish", "refused")

    def spoiled(self, fitting, route: list[str], moment: datetime) -> None:
        """A piece is scrapped and made again before its fitting goes on."""
        from fittings.models import Segment

        first = Segment.objects.filter(fitting=fitting).order_by("position").first()
        self.scan(route[-1], first.code, "scrap", "recorded", "Wrong cut", moment=moment)
        again = Segment.objects.get(fitting=fitting, position=first.position, generation=2)
        for at, operation in enumerate(route, start=1):
            self.scan(operation, again.code, "finish", "recorded", moment=moment + timedelta(minutes=5 * at))

    def scan(
        self, operation: str, code: str, action: str, outcome: str, reason: str = "", *, moment: datetime
    ) -> None:
        from shared.roles import OPERATOR, Actor
        from travelers.record import scan_record

        able = [one for one in self.stations if operation in one.operations]
        station = able[hash_of(code) % len(able)]
        delivery = {
            "id": f"{self.luck.getrandbits(32):08x}-0000-4000-8000-{self.luck.getrandbits(48):012x}",
            "code": code,
            "action": action,
            "badge": self.badges[hash_of(code) % len(self.badges)],
            "reason": reason,
            "scanned_at": moment.isoformat(),
        }
        actor = Actor(station.code, OPERATOR, station.code, tuple(station.operations))
        found = scan_record(delivery=delivery, actor=actor, now=moment)
        assert found.outcome == outcome, f"{action} of {code} at {station.code}: {found.message}"


def customer_names() -> list[str]:
    from tests.bench import bench_find

    return bench_find.names(CUSTOMERS)


def hash_of(code: str) -> int:
    return sum(map(ord, code))
