"""An empty database becomes a shop that can take orders: tables, operations, code series, pulse. Safe to run again."""

from __future__ import annotations

import uuid
from datetime import datetime

from django.db import transaction

from fittings.numbering import series_set_up
from fittings.tables import load_first_versions
from shared.words import mark
from travelers.models import Operation, Pulse

USUAL_OPERATIONS = (
    ("cut", mark("Cut"), "segment"),
    ("roll", mark("Roll"), "segment"),
    ("seam", mark("Seam"), "segment"),
    ("assemble", mark("Assemble"), "fitting"),
    ("ends", mark("Ends"), "fitting"),
    ("wrap", mark("Wrap"), "fitting"),
)


@transaction.atomic
def shop_set_up(*, now: datetime) -> None:
    """Make what every shop needs and has not yet."""
    series_set_up()
    Pulse.objects.get_or_create(pk=1, defaults={"epoch": str(uuid.uuid4())})
    if not Operation.objects.exists():
        Operation.objects.bulk_create(
            Operation(code=code, name=name, level=level, position=10 * at)
            for at, (code, name, level) in enumerate(USUAL_OPERATIONS, start=1)
        )
    load_first_versions(now=now)
