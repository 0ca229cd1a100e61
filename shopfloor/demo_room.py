"""The demo shop’s room, made through the services. The numbers are in `fixtures/demo/room.json`."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from shared.roles import Actor
from shopfloor.floor_plan import layout_save, layout_standing, room_save
from shopfloor.flow.room import Thing


def room_make(told: Mapping[str, Any], *, actor: Actor, now: datetime) -> None:
    room_save(**told["room"], actor=actor, now=now)
    layout = layout_standing()
    things = [Thing(**told["station"] | one) for one in told["stations"]]
    things += [Thing(**one) for one in told["areas"]]
    layout_save(pk=layout.pk, edition=layout.edition, things=things, actor=actor, now=now)
