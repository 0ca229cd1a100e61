"""The published table of who may open what (ACCESS.md), read; and the addresses that there are, by the URL resolver."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from django.urls import URLResolver, get_resolver

from fittings.models import Fitting, Order
from fittings.numbering import take
from tests import factories, factories_costs, factories_cutting
from tests.travelers.kept_floor import segments_kept

TABLE = Path(__file__).resolve().parents[2] / "shopfloor" / "ACCESS.md"
WHO = ("nobody", "office", "supervisor", "operator", "display")
WORDS = ("yes", "no", "sign in", "enroll")
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")
SUPPORT = "/admin/…"


@dataclass(frozen=True)
class Row:
    """One row of the table: an address, its methods, and what each is told there."""

    address: str
    methods: tuple[str, ...]
    told: dict[str, str]

    @property
    def is_api(self) -> bool:
        return self.address.startswith("/api/v1/")


def table_rows(text: str | None = None) -> list[Row]:
    """The rows as they are published; a row that cannot be read fails with its text."""
    rows = []
    for line in (text or TABLE.read_text()).splitlines():
        cells = [cell.strip().strip("`") for cell in line.strip().strip("|").split("|")]
        if not line.startswith("| `/"):
            continue
        assert len(cells) == 2 + len(WHO), f"ACCESS.md: {len(cells)} cells, not {2 + len(WHO)}: {line}"
        methods, told = tuple(cells[1].split()), dict(zip(WHO, cells[2:], strict=True))
        assert set(methods) <= set(METHODS) and set(told.values()) <= set(WORDS), f"ACCESS.md: {line}"
        rows.append(Row(cells[0], methods, told))
    return rows


def addresses(resolver: URLResolver | None = None, before: str = "/") -> Iterator[str]:
    """Every address of the app, as the table spells it. The support pages are one."""
    for one in (resolver or get_resolver()).url_patterns:
        address = before + str(one.pattern)
        if address.startswith("/admin/"):
            yield SUPPORT
        elif isinstance(one, URLResolver):
            yield from addresses(one, address)
        else:
            yield re.sub(r"<(?:\w+:)?(\w+)>", r"<\1>", address)


def suggested(address: str) -> str:
    """A row to begin with, for who adds an address."""
    first = "no" if address.startswith("/api/v1/") else "sign in"
    return f"| `{address}` | GET | {first} | yes | yes | no | no |"


def example(address: str, there: dict[str, dict[str, object]]) -> str:
    """The address with what there is in the tests' shop in the places of its parameters.

    there  by the last fixed part before the parameter: its name, and a value
    """
    fixed, parts = "", []
    for part in address.split("/"):
        if part and "<" not in part:
            fixed = part
        for name in re.findall(r"<(\w+)>", part):
            value = there.get(fixed, {}).get(name)
            assert value is not None, (
                f"{address}: no example of <{name}>. Add {{'{fixed}': {{'{name}': …}}}} to `examples` in "
                "tests/shopfloor/access_table.py."
            )
            part = part.replace(f"<{name}>", str(value))
        parts.append(part)
    return "/".join(parts)


def examples() -> dict[str, dict[str, object]]:
    """A small shop with something at every address, and what stands there for the parameters of the addresses."""
    from fittings.favourites import favourite_keep
    from fittings.intake.checking import Asked
    from fittings.intake.services import intake_keep
    from shopfloor.downtime import downtime_tell
    from shopfloor.floor_plan import layout_standing, layout_try, room_save
    from shopfloor.keys import key_make
    from shopfloor.models import Station, Study, Tablet
    from shopfloor.outward.programs import program_add
    from shopfloor.outward.webhooks import webhook_add
    from travelers.letterhead import logo_keep
    from travelers.models import Operator
    from travelers.print_runs import print_ask
    from travelers.shipping import delivery_make

    order = factories_cutting.released(factories.line())
    plan = factories_cutting.made_plan(order, sent=True)
    sheet = plan.sheets.order_by("position").first()
    station = Station.objects.create(code="CUT-1", name="Cutting table", operations=["cut"])
    key, _ = key_make(now=factories.NOW, station=station)
    tablet = Tablet.objects.create(name="Tablet", station=station, key=key, enrolled_at=factories.NOW)
    operator = Operator.objects.create(code=take(1)[0], name="Ana Ruiz")
    fitting = order.fittings.order_by("pk").first()
    (kept,) = segments_kept(2)
    study = Study.objects.create(
        name="A second roll", change={}, days=5, runs=5, asked_by="office", asked_at=factories.NOW
    )
    who = factories.SUPERVISOR_ACTOR
    room_save(width=60, depth=40, carried=None, walk=210, actor=who, now=factories.NOW)
    layout = layout_try(pk=layout_standing().pk, name="A copy", way="copy", actor=who, now=factories.NOW)
    webhook = webhook_add(
        data={"name": "Accounting", "address": "https://example.com/heard"},
        actor=factories.OFFICE_ACTOR, now=factories.NOW,
    )  # fmt: skip
    program, _ = program_add(
        data={"name": "Time clock", "scopes": ["events:read"]},
        actor=factories.OFFICE_ACTOR,
        now=factories.NOW,
    )
    Fitting.objects.filter(pk=fitting.pk).update(state="done")
    Order.objects.filter(pk=order.pk).update(fittings_done=1)
    delivery = delivery_make(number=order.number, wanted=None, actor=who, now=factories.NOW)
    run = print_ask(number=order.number, paper="travelers", actor=who, now=factories.NOW)
    logo_keep(content=factories.picture(), actor=who, now=factories.NOW)
    file = intake_keep(
        content=b"Qty,Kind,Dia\n2,Pipe,14\n", name="take-off.csv", asked=Asked(), actor=who, now=factories.NOW
    )
    favourite = favourite_keep(
        data={"name": "Elbow", "line": factories.line()}, actor=factories.OFFICE_ACTOR, now=factories.NOW
    )
    down = downtime_tell(station=station.code, actor=who, now=factories.NOW)
    return {
        "downtimes": {"pk": down.pk},
        "webhooks": {"pk": webhook.pk},
        "programs": {"pk": program.pk},
        "papers": {"pk": run.pk},
        "deliveries": {"pk": delivery.pk, "delivery": delivery.number},
        "orders": {"number": order.number, "form": "csv"},
        "import": {"form": "csv", "pk": file.pk},
        "lines": {"position": 1},
        "lists": {"name": "orders", "form": "csv"},
        "pattern-desk": {"form": "svg"},
        "costs": {"form": "csv"},
        "quotes": {"quote": factories_costs.quote().number},
        "customers": {"pk": order.customer_id, "customer_id": order.customer_id},
        "favourites": {"pk": favourite.pk, "favourite_id": favourite.pk},
        "stock": {"pk": sheet.stock_id, "item_id": sheet.stock_id},
        "kept": {"pk": kept.pk, "piece_id": kept.pk},
        "tables": {"name": "gores", "number": 1},
        "cut-plans": {"number": plan.number},
        "cut-sheets": {"pk": sheet.pk, "key": sheet.code},
        "operations": {"code": "cut"},
        "people": {"name": factories.person("display").username},
        "operators": {"pk": operator.pk, "code": operator.code},
        "tablets": {"pk": tablet.pk},
        "at": {"code": station.code},
        "fittings": {"code": fitting.code},
        "pieces": {"code": fitting.code},
        "what-if": {"pk": study.pk},
        "floor-plan": {"pk": layout.pk},
    }
