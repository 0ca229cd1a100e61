"""Which operation holds the floor back, and what one more bench there would buy: hours by benches."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class Relief:
    """The bottleneck of some work, and what comes after it.

    hours  that its benches need for their part of the work, each [h]
    gain   how much more a day the floor does with one bench more there; 0.25 is 25 %
    then   the operation that is the bottleneck after that; the same where one bench is not enough
    """

    operation: str
    hours: float
    gain: float
    then: str


def relief(hours: Mapping[str, float], benches: Mapping[str, int]) -> Relief | None:
    """What holds back this work, or None where there is none. An operation without a bench holds back everything.

    hours    of work by operation [h]
    benches  that do it

    >>> relief({"cut": 10, "roll": 30, "seam": 20}, {"cut": 1, "roll": 1, "seam": 1})
    Relief(operation='roll', hours=30.0, gain=0.5, then='seam')
    """
    work = {operation: amount for operation, amount in hours.items() if amount > 0}
    if not work:
        return None

    def each(operation: str, more: int = 0) -> float:
        count = benches.get(operation, 0) + more
        return work[operation] / count if count else float("inf")

    worst = max(work, key=each)
    then = max(work, key=lambda operation: each(operation, operation == worst))
    before, after = each(worst), each(then, then == worst)
    return Relief(worst, before, before / after - 1, then)
