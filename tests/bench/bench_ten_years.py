"""Every page and every address that answers GET, in a shop with ten years behind it and in one without.

    python -m tests.bench.bench_ten_years SMALL LARGE [rounds] [words of addresses...]

SMALL and LARGE are folders (SQLite) or postgres:// addresses that `tests.bench.ten_years` filled, the small one with
as many orders as it records. Each is asked by a process of its own, through the whole stack of views, in turns: first
once on a fresh connection (cold), then `rounds` times. Prints, the slowest first, milliseconds: cold and p95 of both,
and the ratio of the medians of the work, which is the thread's processor time on SQLite and the clock on PostgreSQL.
Marked `!` is what takes more than 200 ms at p95; `x` what takes more than 1.2 times the small shop's work and 20 ms
more than it. What is not there to be asked for in both shops is named at the end.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field

from tests.bench import harness

ROUNDS = 15
MOST_MS, MOST_RATIO, FLOOR_MS = 200, 1.2, 20
WITHOUT_AN_END = ("/board/stream/", "/api/v1/board/stream/")
MISSING = "-"
BESIDE = (
    "/orders/?state=open", "/orders/?state=done", "/orders/?page=20", "/orders/?q=ahu-31", "/orders/1001/",
    "/orders/1001/costs/part/", "/orders/1001/deliveries/new/", "/deliveries/?page=10", "/customers/?q=north",
    "/find/?q=elbow", "/find/first/?q=elbow", "/find/first/?q=22 30 elbow 24", "/find/first/?q=elbwo 28 L2-3",
    "/find/first/?q=galvanized 24", "/find/first/?q=north", "/find/first/?q=1001", "/find/first/?q={code}",
    "/find/first/?q=elbow ahu-31", "/where/?q={code}", "/where/?q=1001", "/api/v1/where/?q={code}",
    "/api/v1/station/pieces/{code}/", "/api/v1/fittings/{code}/", "/api/v1/orders/?state=done", "/api/v1/orders/1001/",
    "/api/v1/scans/?since=4000", "/api/v1/events/?since=1000", "/api/v1/costs/?month={month}", "/costs/?month={month}",
    "/costs/?month={month}&by=order", "/flow/?days=365", "/measured-times/?operation=roll",
)  # fmt: skip


@dataclass
class Figures:
    cold: float = 0.0
    walls: list[float] = field(default_factory=list)
    work: list[float] = field(default_factory=list)

    @property
    def p95(self) -> float:
        return statistics.quantiles(self.walls, n=20, method="inclusive")[18]


def main(small: str, large: str, rounds: int = ROUNDS, *words: str) -> None:
    shops = [Shop(small), Shop(large)]
    asked = [
        one for one in shops[0].asks if one in shops[1].asks and (not words or any(w in one for w in words))
    ]
    figures: dict[str, list[Figures]] = {name: [Figures(), Figures()] for name in asked}
    nowhere: dict[str, int] = {}
    for turn in range(int(rounds) + 1):
        for name in asked:
            for shop, own in zip(shops, figures[name], strict=True):
                wall, work, status = shop.ask(name, is_cold=not turn)
                if status not in (200, 302):
                    nowhere[name] = status
                if turn:
                    own.walls.append(wall)
                    own.work.append(work)
                else:
                    own.cold = wall
    for shop in shops:
        shop.end()
    reported({name: both for name, both in figures.items() if name not in nowhere}, shops[1].is_postgresql)
    lacking = sorted({*shops[0].lacking, *shops[1].lacking})
    print(f"not there: {', '.join(lacking)}\nanswered otherwise: {nowhere}")


def reported(figures: dict[str, list[Figures]], by_clock: bool) -> None:
    print(f"{'':2} {'address':<48}{'cold':>9}{'':>9}{'p95':>9}{'':>9}{'p50':>9}{'ratio':>9}")
    print(f"{'':2} {'':<48}{'small':>9}{'large':>9}{'small':>9}{'large':>9}{'large':>9}{'of work':>9}")
    for name, (small, large) in sorted(figures.items(), key=lambda one: -one[1][1].p95):
        before, after = (statistics.median(one.walls if by_clock else one.work) for one in (small, large))
        grown = after > MOST_RATIO * before and after - before > FLOOR_MS
        marks = f"{'!' if large.p95 > MOST_MS else ''}{'x' if grown else ''}"
        middle = statistics.median(large.walls)
        times = (small.cold, large.cold, small.p95, large.p95, middle)
        print(f"{marks:2} {name:<48}{''.join(f'{ms:9.1f}' for ms in times)}{after / before:9.2f}")


class Shop:
    """A shop in a process of its own, asked by lines."""

    def __init__(self, place: str):
        self.is_postgresql = place.startswith("postgres")
        where = (
            {"DATABASE_URL": place} if self.is_postgresql else {"SHOPFLOOR_DATA": place, "DATABASE_URL": ""}
        )
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.bench_ten_years", "shop"],
            env={**os.environ, **where},
            cwd=harness.TOP,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.asks, self.lacking = self.read()

    def read(self):
        line = self.process.stdout.readline()
        assert line, "the shop's process ended"
        return json.loads(line)

    def ask(self, name: str, *, is_cold: bool) -> list:
        self.process.stdin.write(json.dumps([name, is_cold]) + "\n")
        self.process.stdin.flush()
        return self.read()

    def end(self) -> None:
        self.process.stdin.close()
        self.process.wait(timeout=60)


# -- the process of one shop -------------------------------------------------------


def shop() -> None:
    harness.django_set_up(with_shop=False)
    from django.db import connection

    asks, lacking = asked_there()
    clients = clients_there()
    print(json.dumps([list(asks), lacking]), flush=True)
    for line in sys.stdin:
        name, is_cold = json.loads(line)
        who, path = asks[name]
        if is_cold:
            connection.close()
        began, own = time.perf_counter(), time.thread_time()
        answer = clients[who].get(path)
        list(answer) if answer.streaming else answer.content
        took = [(time.perf_counter() - began) * 1000, (time.thread_time() - own) * 1000, answer.status_code]
        print(json.dumps(took), flush=True)


def clients_there() -> dict:
    from django.test import Client
    from django.utils import timezone

    from shopfloor.keys import key_make
    from shopfloor.models import Person, Station

    clients = {"nobody": Client()}
    for role in ("office", "supervisor", "display"):
        clients[role] = Client()
        clients[role].force_login(
            Person.objects.get(username=role), backend="django.contrib.auth.backends.ModelBackend"
        )
    key = key_make(now=timezone.now(), station=Station.objects.get(code="ROLL-1"))[1]
    clients["operator"] = Client(headers={"Authorization": f"Token {key}"})
    return clients


def asked_there() -> tuple[dict[str, tuple[str, str]], list[str]]:
    """By name who asks for which address, every row of ACCESS.md that has GET; and those without an example."""
    from tests.shopfloor.access_table import SUPPORT, table_rows

    there, asks, lacking = examples_there(), {}, []
    rows = [
        row for row in table_rows() if "GET" in row.methods and row.address not in (*WITHOUT_AN_END, SUPPORT)
    ]
    for row in rows:
        who = next(
            who for who in ("office", "supervisor", "operator", "display", "nobody") if row.told[who] == "yes"
        )
        for name, path in filled_in(row.address, there):
            if MISSING in path.split("/"):
                lacking.append(name)
            else:
                asks[name] = (who, path)
    for address in BESIDE:
        who = "operator" if "/station/" in address else "office"
        asks[address] = (who, address.format(**there["beside"]))
    return asks, lacking


def filled_in(address: str, there: dict) -> Iterator[tuple[str, str]]:
    from tests.shopfloor.access_table import example

    if "<name>.<form>" in address:
        from shopfloor.lists import LISTS

        for name in LISTS:
            yield f"/lists/{name}.csv", f"/lists/{name}.csv"
    else:
        yield address, example(address, there)


def examples_there() -> dict[str, dict[str, object]]:
    """What stands in the addresses: of the demo, which both shops have, or of the first recorded order."""
    from django.db.models import Min

    from fittings.models import CutPlan, CutSheet, Favourite, Fitting, IntakeFile, KeptPiece, Order, StockItem
    from shopfloor.models import FloorLayout, MonthCost, Program, Study, Tablet, Webhook
    from travelers.models import Delivery, Operator, PrintRun, Quote

    def key(rows, name: str = "pk"):
        return rows.order_by("-pk").values_list(name, flat=True).first() or MISSING

    order = Order.objects.filter(state="released").order_by("pk").last()
    fitting = order.fittings.order_by("pk").first()
    sheet = CutSheet.objects.exclude(code="").order_by("pk").last()
    run, delivery = PrintRun.objects.order_by("pk").last(), Delivery.objects.order_by("pk").first()
    favourite, kept, study = (key(model.objects) for model in (Favourite, KeptPiece, Study))
    month = MonthCost.objects.aggregate(first=Min("month"))["first"]
    return {
        "beside": {
            "code": Fitting.objects.order_by("pk").first().code,
            "month": f"{month:%Y-%m}",
        },
        "orders": {"number": order.number, "form": "csv"},
        "lines": {"position": 1},
        "papers": {"pk": run.pk if run else MISSING},
        "deliveries": {"pk": delivery.pk, "delivery": delivery.number},
        "import": {"form": "csv", "pk": key(IntakeFile.objects)},
        "pattern-desk": {"form": "svg"},
        "costs": {"form": "csv"},
        "quotes": {"quote": key(Quote.objects, "number")},
        "customers": {"pk": order.customer_id, "customer_id": order.customer_id},
        "favourites": {"pk": favourite, "favourite_id": favourite},
        "stock": {"pk": key(StockItem.objects), "item_id": key(StockItem.objects)},
        "kept": {"pk": kept, "piece_id": kept},
        "tables": {"name": "times", "number": 1},
        "cut-plans": {"number": CutPlan.objects.filter(state="sent").order_by("pk").last().number},
        "cut-sheets": {"pk": sheet.pk, "key": sheet.code},
        "operations": {"code": "cut"},
        "people": {"name": "display"},
        "operators": {"pk": key(Operator.objects), "code": key(Operator.objects, "code")},
        "tablets": {"pk": key(Tablet.objects)},
        "at": {"code": "CUT-1"},
        "fittings": {"code": fitting.code},
        "pieces": {"code": fitting.code},
        "what-if": {"pk": study},
        "floor-plan": {"pk": key(FloorLayout.objects)},
        "webhooks": {"pk": key(Webhook.objects)},
        "programs": {"pk": key(Program.objects)},
    }


if __name__ == "__main__":
    if sys.argv[1:] == ["shop"]:
        shop()
    else:
        main(*sys.argv[1:])
