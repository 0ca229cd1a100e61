"""What the worker looks after by itself, once a minute while nothing waits."""

from __future__ import annotations

from datetime import datetime

from shopfloor import order_costs, promise_round


def round_request(*, now: datetime) -> bool:
    """Each of them may put something in the queue; True where one has."""
    asked = [promise_round.round_request(now=now), order_costs.costs_request(now=now)]
    return any(asked)
