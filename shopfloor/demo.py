"""The demo shop: invented people, stations and orders, and the scans of some two weeks of invented work.

Everything is made as a shop makes it: through the services and the scan record, each at its own moment before `now`.
The story is in `fixtures/demo/`; the same seed and the same `now` give the same shop, codes included.
"""

from __future__ import annotations

import heapq
import json
import random
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction
from django.utils import timezone

from fittings import tables
from fittings.cost_tables import COST_TABLES
from fittings.models import CodeSeries, Fitting, Order, Segment
from fittings.orders import order_create
from fittings.services import customer_create
from fittings.stock import stock_create
from shared.problems import Conflict
from shared.roles import OFFICE, OPERATOR, SUPERVISOR, Actor
from shopfloor.demo_plans import plans_make
from shopfloor.demo_room import room_make
from shopfloor.flow.calendar import Calendar
from shopfloor.models import Person, Station
from shopfloor.operators import operator_add
from shopfloor.order_costs import costs_bring_up
from shopfloor.stations import station_save
from shopfloor.working_time import shop_calendar
from travelers.models import Operation, Operator, Task
from travelers.record import scan_record
from travelers.release import order_cancel, order_release
from travelers.setup import shop_set_up

FOLDER = Path(settings.BASE_DIR) / "fixtures" / "demo"
SEED = 1
LATEST = -0.02
"""Hours. Work that would end later than this before `now` has not ended."""
LAST_HOURS = (0.4, 4.0)
"""Hours before now in which the work that is still on the floor was touched last."""
AHEAD_HOURS = (0.9, 1.9)
STARTED = 0.7
"""Share of the work whose start is scanned too, besides the first code of some lots."""
QUICK = {"roll": (0.6, 0.95), "ends": (0.5, 0.8)}
"""Where a piece takes less than the story's own pace: between these shares of it, invented to be measured."""
OFFICE_HAND = Actor("office", OFFICE)
SUPERVISOR_HAND = Actor("supervisor", SUPERVISOR)


@dataclass(frozen=True)
class SignIn:
    name: str
    password: str
    role: str


@dataclass(frozen=True)
class Filled:
    """What the demo made. `unfinished` is work that the story asks for and `now` came too early for."""

    orders: int
    fittings: int
    scans: int
    unfinished: int


def demo_sign_ins() -> list[SignIn]:
    """The demo persons who still sign in with the password of the story; none in a shop that is no demo."""
    persons = {person.username: person for person in Person.objects.filter(is_active=True)}
    return [
        SignIn(one["name"], one["password"], one["role"])
        for one in _read("floor")["persons"]
        if one["name"] in persons and persons[one["name"]].check_password(one["password"])
    ]


def demo_fill(*, now: datetime, seed: int = SEED) -> Filled:
    """Fill a database without orders, all or nothing.

    raises  Conflict where there are orders, persons or stations already
    """
    with transaction.atomic():
        if Order.objects.exists() or Person.objects.exists() or Station.objects.exists():
            raise Conflict("The demo shop fills only an empty database. This one is in use.")
        demo_shop(now=now)
        return demo_story(now=now, seed=seed)


def demo_shop(*, now: datetime) -> None:
    """The demo's people, stations, prices and stock, in an empty database and in the caller's transaction."""
    floor = _read("floor")
    CodeSeries.objects.get_or_create(pk=1, defaults={"mark": floor["mark"]})
    CodeSeries.objects.filter(pk=1, next_number=0).update(mark=floor["mark"])
    shop_set_up(now=now)
    _set_up_prices(now)
    _set_up_floor(floor, now)
    for one in _read("stock")["items"]:
        stock_create(values=one, actor=OFFICE_HAND, now=now)
    room_make(_read("room"), actor=SUPERVISOR_HAND, now=now)


def demo_story(*, now: datetime, seed: int = SEED) -> Filled:
    """The orders of the last two weeks and their scans, in the demo's shop and in the caller's transaction."""
    badges = list(Operator.objects.order_by("pk").values_list("code", flat=True))
    story = _Story(now, seed, shop_calendar(), _crews(_read("floor"), badges))
    for told in _read("orders")["orders"]:
        story.tell(told)
    story.run()
    plans_make(actor=OFFICE_HAND, now=now)
    costs_bring_up(now=now)
    return Filled(Order.objects.count(), Fitting.objects.count(), story.scans, story.unfinished)


def _read(name: str) -> dict[str, Any]:
    return json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))


def _set_up_prices(now: datetime) -> None:
    """The tables of costs and prices; those that come with the app hold no money."""
    told = _read("costs")
    for name in COST_TABLES:
        tables.save(name=name, new_rows=told[name], seen=None, note="Invented", actor=OFFICE_HAND, now=now)


# -- people and stations -----------------------------------------------------


def _set_up_floor(floor: Mapping[str, Any], now: datetime) -> None:
    """Persons, stations, customers, operators."""
    for one in floor["persons"]:
        Person.objects.create_user(
            one["name"],
            password=one["password"],
            role=one["role"],
            first_name=one["first"],
            last_name=one["last"],
        )
    for position, one in enumerate(floor["stations"], start=1):
        data = {name: value for name, value in one.items() if name != "crew"} | {"position": position}
        station_save(code=None, data=data, actor=SUPERVISOR_HAND, now=now)
    for one in floor["customers"]:
        customer_create(data=one, actor=OFFICE_HAND, now=now)
    languages = floor["languages"]
    for name in floor["operators"]:
        operator_add(name=name, language=languages.get(name, ""), actor=SUPERVISOR_HAND, now=now)


@dataclass
class _Crew:
    """A station with who works there, and until when it is busy [hours from now, below zero]."""

    station: Station
    badges: list[str]
    free: float = -1e9

    @cached_property
    def actor(self) -> Actor:
        code = self.station.code
        return Actor(code, OPERATOR, code, tuple(self.station.operations))

    def takes(self, operation: str, gauge: int, diameter: float) -> bool:
        one = self.station
        return (
            operation in one.operations
            and (one.gauge_heaviest is None or gauge >= one.gauge_heaviest)
            and (one.gauge_lightest is None or gauge <= one.gauge_lightest)
            and (one.diameter_most_in is None or diameter <= one.diameter_most_in)
        )


def _crews(floor: Mapping[str, Any], badges: list[str]) -> list[_Crew]:
    """Operators are shared out over the stations in turn, so that every bench has its own people."""
    left = list(badges)
    crews = []
    stations = {station.code: station for station in Station.objects.all()}
    for one in floor["stations"]:
        mine, left = left[: one["crew"]], left[one["crew"] :]
        crews.append(_Crew(stations[one["code"]], mine or badges[:1]))
    crews[0].badges += left
    return crews


# -- the story ---------------------------------------------------------------


@dataclass
class _Lot:
    """A released line on its way: what the story says of it, and the codes that are scanned.

    target  when it gets as far as the story says [hours from now]: on a floor with queues work waits between benches
    """

    told: Mapping[str, Any]
    line: int
    gauge: int
    diameter: float
    fittings: list[Fitting]
    operations: list[str]
    last: int
    segments: dict[tuple[int, int], Segment]
    minutes: dict[tuple[int, str], float]
    target: float
    left: dict[int, dict[int, int]] = field(default_factory=dict)
    """By fitting's number: position of a segment to the last operation that it got; -1 for none."""

    def of(self, name: str) -> list[Mapping[str, Any]]:
        return [one for one in self.told.get(name, ()) if one["line"] == self.line]


@dataclass
class _Batch:
    """Fittings of a lot that go through the operations from `step` to `last` together.

    only       a segment that is made again, by itself
    is_mended  a fitting that goes on after its segment was made again
    """

    lot: _Lot
    step: int
    last: int
    fittings: list[Fitting]
    only: Segment | None = None
    is_mended: bool = False

    @property
    def operation(self) -> str:
        return self.lot.operations[self.step]


class _Story:
    """Plays the orders in the order of time. Moments are working hours from now, below zero."""

    def __init__(self, now: datetime, seed: int, calendar: Calendar, crews: list[_Crew]):
        self.now = now.astimezone(timezone.get_default_timezone())
        self.random = random.Random(seed)
        self.starts = random.Random(seed + 1)
        self.calendar = calendar
        self.crews = crews
        self.levels = dict(Operation.objects.values_list("code", "level"))
        self.heap: list[tuple[float, int, Callable[[float], None]]] = []
        self.pushed = 0
        self.scans = 0
        self.unfinished = 0

    def push(self, moment: float, act: Callable[[float], None]) -> None:
        if moment > LATEST:
            self.unfinished += 1
            return
        self.pushed += 1
        heapq.heappush(self.heap, (moment, self.pushed, act))

    def run(self) -> None:
        while self.heap:
            moment, _, act = heapq.heappop(self.heap)
            act(moment)

    def at(self, moment: float) -> datetime:
        return self.calendar.back(self.now, -moment)

    # the office

    def tell(self, told: Mapping[str, Any]) -> None:
        released = told.get("released_hours_ago")
        entered = told.get("entered_hours_ago") or released + 0.4
        self.push(-entered, lambda moment: self._enter(told, released, moment))

    def _enter(self, told: Mapping[str, Any], released: float | None, moment: float) -> None:
        data = {name: told[name] for name in ("customer", "purchase_order", "priority", "lines")}
        data |= {"notes": told.get("notes", ""), "due": self._due(told["due_in_days"]).isoformat()}
        number = order_create(data=data, actor=OFFICE_HAND, now=self.at(moment)).number
        if released is not None:
            self.push(-released, lambda then: self._release(number, told, then))
        if "cancelled_hours_ago" in told:
            self.push(
                -told["cancelled_hours_ago"],
                lambda then: order_cancel(number=number, actor=OFFICE_HAND, now=self.at(then)),
            )

    def _due(self, days: int) -> date:
        return self.calendar.days_ahead(self.now.date(), days)

    def _release(self, number: str, told: Mapping[str, Any], moment: float) -> None:
        order = order_release(number=number, actor=OFFICE_HAND, now=self.at(moment))
        for lot in self._lots(order, told, moment):
            if told.get("through") or told.get("then") or told.get("running"):
                start = moment + self._wait(lot, moment, 0)
                if lot.last < 0:
                    self._ahead(lot, start)
                else:
                    batch = _Batch(lot, 0, lot.last, list(lot.fittings))
                    self.push(start, lambda then, batch=batch: self._work(batch, then))

    def _lots(self, order: Order, told: Mapping[str, Any], moment: float) -> list[_Lot]:
        lots = []
        for line in order.lines.order_by("position"):
            fittings = list(Fitting.objects.filter(line=line).order_by("number"))
            tasks = Task.objects.filter(fitting__line=line).values_list(
                "fitting__number", "operation_id", "step", "minutes"
            )
            operations = [code for code, _ in sorted({row[1:3] for row in tasks}, key=lambda pair: pair[1])]
            minutes: dict[tuple[int, str], float] = {}
            for number, operation, _, amount in tasks:
                minutes[number, operation] = minutes.get((number, operation), 0.0) + amount
            through = told.get("through", "")
            last = operations.index(through) if through in operations else len(operations) - 1
            lot = _Lot(
                told,
                line.position,
                line.gauge,
                max(end["diameter"] or 0 for end in line.development["free_ends"]),
                fittings,
                operations,
                last if through else -1,
                {
                    (segment.fitting_id, segment.position): segment
                    for segment in Segment.objects.filter(fitting__line=line)
                },
                minutes,
                self._target(told, moment, through == operations[-1]),
            )
            for one in lot.of("leave"):
                at = operations.index(one["through"]) if one["through"] else -1
                lot.left.setdefault(one["fitting"], {})[one["position"]] = at
            lots.append(lot)
        return lots

    def _target(self, told: Mapping[str, Any], released: float, is_all: bool) -> float:
        if "cancelled_hours_ago" in told:
            return -told["cancelled_hours_ago"] - 3
        return released + self.random.uniform(8, 20) if is_all else -self.random.uniform(*LAST_HOURS)

    # the floor

    def _work(self, batch: _Batch, moment: float) -> None:
        """One operation of a batch: the station takes it when it is free, and scans when it has done it."""
        lot, operation = batch.lot, batch.operation
        fittings = self._whole(batch)
        crew = self._crew(lot, operation)
        if not fittings:
            return
        begin = max(moment, crew.free)
        pace = self.random.uniform(0.85, 1.1)
        share = 1 / max(1, sum(key[0] == batch.fittings[0].pk for key in lot.segments)) if batch.only else 1
        hours = [lot.minutes[one.number, operation] * pace * share / 60 for one in fittings]
        end = begin + sum(hours)
        crew.free = end
        if operation in lot.told.get("missed", ()) and not batch.only:
            self.push(end, lambda then: self._next(batch, then))
            return
        is_started = self.random.random() < 0.4
        done = begin
        codes = self._codes(batch, fittings)
        for at, (code, share) in enumerate(codes):
            if not at and is_started:
                self.push(begin, lambda then, code=code: self.scan(crew, code, "start", then))
            elif not lot.left and self.starts.random() < STARTED:
                late = sum(hours) * share * (1 - self.starts.uniform(*QUICK.get(operation, (1, 1))))
                self.push(
                    done + late,
                    lambda then, code=code: self.scan(crew, code, "start", then, chance=self.starts),
                )
            done += sum(hours) * share
            self.push(done, lambda then, code=code: self._finish(lot, crew, code, operation, then))
        for one in lot.of("scrap"):
            if one["after"] == operation and not batch.only:
                self.push(end + 0.05, lambda then, one=one: self._scrap(lot, one, then))
        self.push(end + 0.01, lambda then: self._next(batch, then))

    def _whole(self, batch: _Batch) -> list[Fitting]:
        """The batch's fittings that this operation can be done to: an operation of the whole needs a whole kit."""
        if batch.is_mended or self.levels[batch.operation] == Operation.Level.SEGMENT:
            return batch.fittings
        return [one for one in batch.fittings if one.number not in batch.lot.left]

    def _codes(self, batch: _Batch, fittings: Sequence[Fitting]) -> list[tuple[str, float]]:
        """What is scanned, with the share of the work that it ends: the traveler, or labels one by one."""
        lot = batch.lot
        if batch.only:
            return [(batch.only.code, 1.0)]
        by = lot.told.get("by", "lot")
        travelers = {one.traveler_code for one in fittings}
        is_whole = len(fittings) == len(lot.fittings) and not lot.left and batch.step <= lot.last
        if by == "lot" and is_whole and len(travelers) == 1:
            return [(fittings[0].traveler_code, 1.0)]
        codes: list[str] = []
        is_segments = self.levels[batch.operation] == Operation.Level.SEGMENT
        for one in fittings:
            left = lot.left.get(one.number)
            if not (left and is_segments):
                codes.append(one.code)
                continue
            codes += [
                segment.code
                for (fitting, position), segment in sorted(lot.segments.items())
                if fitting == one.pk and left.get(position, 99) >= batch.step
            ]
        return [(code, 1 / len(codes)) for code in codes]

    def _finish(self, lot: _Lot, crew: _Crew, code: str, operation: str, moment: float) -> None:
        self.scan(crew, code, "finish", moment)
        if lot.told.get("twice") == operation:
            self.scan(crew, code, "finish", moment + 0.01, outcome="refused")
        if lot.told.get("undo") == operation:
            self.scan(crew, code, "undo", moment + 0.005)
            self.scan(crew, code, "finish", moment + 0.008)

    def _next(self, batch: _Batch, moment: float) -> None:
        lot = batch.lot
        start = moment + self._wait(lot, moment, batch.step + 1)
        if batch.step < batch.last:
            batch.step += 1
            self.push(start, lambda then: self._work(batch, then))
        elif batch.only is not None:
            self._rejoin(batch, start)
        elif batch.last == lot.last and len(batch.fittings) == len(lot.fittings):
            self._ahead(lot, start)

    def _wait(self, lot: _Lot, moment: float, step: int) -> float:
        """How long a lot lies before a bench, so that it reaches its target in about equal steps."""
        left = max(0, lot.last - step) + 1 + bool(lot.told.get("then"))
        return max(0.1, (lot.target - moment) / left * self.random.uniform(0.6, 1.0))

    def _ahead(self, lot: _Lot, moment: float) -> None:
        """What of a lot is further than the rest: on hold, one operation ahead, or begun there, in the last hours."""
        step = lot.last + 1
        if step >= len(lot.operations):
            return
        crew = self._crew(lot, lot.operations[step])
        held = lot.told.get("hold", {})
        if held.get("line") == lot.line:
            code, reason = lot.fittings[held["fitting"] - 1].code, held["reason"]
            self.push(moment, lambda then: self.scan(crew, code, "hold", then, reason=reason))
        if lot.line > 1:
            return
        out = {held.get("fitting"), *lot.left}
        free = [one for one in lot.fittings if one.number not in out]
        then, running = lot.told.get("then", 0), lot.told.get("running", 0)
        if then:
            batch = _Batch(lot, step, step, free[:then])
            self.push(max(moment, -self.random.uniform(*AHEAD_HOURS)), lambda at: self._work(batch, at))
        for one in free[then : then + running]:
            self.push(max(moment, -0.3), lambda at, code=one.code: self.scan(crew, code, "start", at))

    def _scrap(self, lot: _Lot, told: Mapping[str, Any], moment: float) -> None:
        """A segment is spoiled; its successor starts at the first operation."""
        fitting = lot.fittings[told["fitting"] - 1]
        step = lot.operations.index(told["after"])
        segment = lot.segments[fitting.pk, told["position"]]
        crew = self._crew(lot, lot.operations[step])
        self.scan(crew, segment.code, "scrap", moment, reason=told["reason"])
        lot.left.setdefault(fitting.number, {})[told["position"]] = step
        again = Segment.objects.get(fitting=fitting, position=told["position"], generation=2)
        batch = _Batch(lot, 0, lot.operations.index(told["remade_through"]), [fitting], only=again)
        self.push(moment + 0.2, lambda then: self._work(batch, then))

    def _rejoin(self, batch: _Batch, moment: float) -> None:
        """A segment made again is there: its fitting goes on alone, as far as its lot."""
        lot = batch.lot
        after = batch.last + 1
        if after > lot.last or self.levels[lot.operations[after]] == Operation.Level.SEGMENT:
            return
        alone = _Batch(lot, after, lot.last, batch.fittings, is_mended=True)
        self.push(moment, lambda then: self._work(alone, then))

    def _crew(self, lot: _Lot, operation: str) -> _Crew:
        """The station that is free first of those that take the lot."""
        able = [crew for crew in self.crews if crew.takes(operation, lot.gauge, lot.diameter)]
        return min(able, key=lambda crew: crew.free)

    # the record

    def scan(
        self,
        crew: _Crew,
        code: str,
        action: str,
        moment: float,
        *,
        reason: str = "",
        outcome: str = "recorded",
        chance: random.Random | None = None,
    ) -> None:
        at, chance = self.at(moment), chance or self.random
        delivery = {
            "id": str(uuid.UUID(int=chance.getrandbits(128), version=4)),
            "code": code,
            "action": action,
            "badge": chance.choice(crew.badges),
            "reason": reason,
            "scanned_at": at.isoformat(),
        }
        found = scan_record(delivery=delivery, actor=crew.actor, now=at)
        if found.outcome != outcome:
            raise RuntimeError(
                f"Demo: {action} of {code} at {crew.station.code} was {found.outcome}: {found.message}"
            )
        self.scans += 1
