"""Fills the database that the environment names with a shop for the fault tests, and prints what a client must know.

python -m tests.faults.make_shop
"""

from __future__ import annotations

import json
from datetime import timedelta

import django

STATIONS_EACH = 4
OPERATIONS = ("cut", "roll", "seam", "assemble", "ends", "wrap")
ORDERS = {
    "shared": {"quantity": 24},
    "own": {"quantity": 20},
    "lot": {
        "quantity": 40,
        "kind": "pipe",
        "params": {"diameter": 10, "length": 48},
    },
}


def main() -> None:
    django.setup()
    from django.core.management import call_command
    from django.utils import timezone

    from fittings import numbering
    from fittings.models import Fitting
    from fittings.orders import order_create
    from shopfloor.access import key_revoke
    from shopfloor.keys import key_make
    from shopfloor.models import Person, Station
    from tests import factories
    from travelers.models import Operator
    from travelers.release import order_release
    from travelers.setup import shop_set_up

    call_command("migrate", verbosity=0)
    began = timezone.now() - timedelta(days=3)
    shop_set_up(now=began)
    keys = {}
    for role in ("office", "supervisor", "display"):
        keys[role] = key_make(now=began, person=Person.objects.create_user(role, role=role))[1]
    for operation in OPERATIONS:
        for number in range(1, STATIONS_EACH + 1):
            code = f"{operation.upper()}-{number}"
            station = Station.objects.create(code=code, name=code, operations=[operation])
            keys[code] = key_make(now=began, station=station)[1]
    gone, keys["revoked"] = key_make(now=began, station=Station.objects.get(code="CUT-1"))
    key_revoke(key=gone, actor=factories.SUPERVISOR_ACTOR, now=began)
    badges = numbering.take(24)
    for number, code in enumerate(badges, start=1):
        Operator.objects.create(code=code, name=f"Invented Operator {number}")
    left = numbering.take(1)[0]
    Operator.objects.create(code=left, name="Invented Leaver", is_active=False)
    orders = {}
    for name, line in ORDERS.items():
        body = factories.order_body(number=f"F-{name}", lines=[factories.line(**line)])
        order = order_create(data=body, actor=factories.OFFICE_ACTOR, now=began)
        order_release(number=order.number, actor=factories.OFFICE_ACTOR, now=began)
        fittings = Fitting.objects.filter(order=order).order_by("number").prefetch_related("segments")
        orders[name] = {
            "number": order.number,
            "traveler": fittings[0].traveler_code,
            "fittings": [
                {
                    "code": one.code,
                    "segments": [
                        piece.code for piece in sorted(one.segments.all(), key=lambda piece: piece.position)
                    ],
                }
                for one in fittings
            ],
        }
    print(json.dumps({"keys": keys, "badges": badges, "left": left, "orders": orders}))


if __name__ == "__main__":
    main()
