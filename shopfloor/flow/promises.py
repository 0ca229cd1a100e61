"""When work will be done, from repeated runs: the hour that holds in half of them, and that of nine in ten."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from .floor import Job
from .simulation import Run

LIKELY, SURE = 0.5, 0.9


@dataclass(frozen=True)
class Expected:
    """Hours of work from now until an order is finished: as likely as not by `likely`, in nine of ten by `sure`."""

    likely: float
    sure: float


def expected(runs: Sequence[Run], jobs: Iterable[Job]) -> dict[str, Expected]:
    """By order. An order is finished with its last fitting; one that is not finished in a run never is.

    >>> run = Run(9, {"a": 2.0, "b": 5.0}, {}, {}, {}, 0)
    >>> expected([run], [Job("a", (), (), "1"), Job("b", (), (), "1"), Job("c", (), (), "2")])
    {'1': Expected(likely=5.0, sure=5.0), '2': Expected(likely=inf, sure=inf)}
    """
    fittings: dict[str, list[str]] = defaultdict(list)
    for job in jobs:
        fittings[job.order].append(job.key)
    found = {}
    for order, keys in fittings.items():
        ends = sorted(max(run.done.get(key, math.inf) for key in keys) for run in runs)
        found[order] = Expected(_of(ends, LIKELY), _of(ends, SURE))
    return found


def _of(ends: list[float], share: float) -> float:
    """The least of the ends that one more run of the same sort keeps with at least this probability.

    That is the ⌈share · (n + 1)⌉th of n: the next one is as likely to fall between any two of them.
    """
    return ends[min(len(ends), math.ceil(share * (len(ends) + 1))) - 1] if ends else math.inf


def held(promised: Iterable[tuple[float, float]]) -> float:
    """The share of promises that held, of (promised, finished) in the same unit; nan where there are none.

    >>> held([(5, 4), (5, 6)])
    0.5
    """
    found = list(promised)
    return sum(end <= promise for promise, end in found) / len(found) if found else math.nan
