"""What tests begin with: small functions with good defaults. Each gives what the app itself would have made."""

from __future__ import annotations

from datetime import UTC, datetime
from io import BytesIO
from itertools import count
from typing import Any

from PIL import Image

from fittings.models import Order
from fittings.orders import order_create
from shared.roles import DISPLAY, OFFICE, OPERATOR, SUPERVISOR, Actor

NOW = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
OFFICE_ACTOR = Actor("office", OFFICE)
SUPERVISOR_ACTOR = Actor("supervisor", SUPERVISOR)
_serial = count(1)


def elbow_params(**changes: Any) -> dict[str, Any]:
    return {"diameter": 14, "angle": 90, "pieces": 5, "radius_ratio": 1.5, **changes}


def line(**changes: Any) -> dict[str, Any]:
    """A line as the API takes it: four 14 in elbows."""
    return {
        "quantity": 4,
        "kind": "gored_elbow",
        "material": "galvanized",
        "gauge": 24,
        "params": elbow_params(),
        "end_a": "raw",
        "end_b": "raw",
        "tag": "AHU-3",
        **changes,
    }


def order_body(**changes: Any) -> dict[str, Any]:
    """An order as the API takes it, of one line."""
    return {
        "customer": "Example Mechanical",
        "purchase_order": "PO-77",
        "due": "2026-03-05",
        "priority": 3,
        "notes": "",
        "lines": [line()],
        **changes,
    }


def order(**changes: Any) -> Order:
    """A draft order in the database."""
    return order_create(data=order_body(**changes), actor=OFFICE_ACTOR, now=NOW)


def person(role: str = OFFICE, password: str | None = None):
    """Someone of a role, named after it with a number. A password takes its time to hash: only where one is used."""
    from shopfloor.models import Person

    return Person.objects.create_user(f"{role}-{next(_serial)}", password=password, role=role)


def key_for(role: str) -> str:
    """The text of a fresh key for someone of this role; for an operator it is a station's."""
    from shopfloor.keys import key_make
    from shopfloor.models import Station

    if role == OPERATOR:
        code = f"BENCH-{next(_serial)}"
        station = Station.objects.create(code=code, name=code, operations=["cut"])
        return key_make(now=NOW, station=station)[1]
    return key_make(now=NOW, person=person(role))[1]


ROLES = (OFFICE, SUPERVISOR, OPERATOR, DISPLAY)


def picture(width: int = 300, height: int = 100, form: str = "PNG") -> bytes:
    """An invented logo: a half-clear rectangle; as JPEG a full one."""
    stream = BytesIO()
    mode, colour = ("RGB", (200, 30, 30)) if form == "JPEG" else ("RGBA", (200, 30, 30, 128))
    Image.new(mode, (width, height), colour).save(stream, form)
    return stream.getvalue()
