"""An invented floor of six operations and its orders, for tests and benches of the simulation."""

from __future__ import annotations

import numpy as np

from shopfloor.flow.floor import Bench, Floor, Job, Step

OPERATIONS = ("cut", "roll", "seam", "assemble", "ends", "wrap")
BENCHES = {"cut": 1, "roll": 1, "seam": 2, "assemble": 2, "ends": 1, "wrap": 1}
VARIATION = {"cut": 0.2, "roll": 0.4, "seam": 0.4, "assemble": 0.5, "ends": 0.3, "wrap": 0.3}
HOURS = {"cut": 0.012, "roll": 0.013, "seam": 0.025, "assemble": 0.11, "ends": 0.05, "wrap": 0.05}


def floor(**changes) -> Floor:
    benches = tuple(
        Bench(f"{operation}-{at + 1}", (operation,))
        for operation, count in (BENCHES | changes.pop("benches", {})).items()
        for at in range(count)
    )
    return Floor(OPERATIONS, benches, changes.pop("variation", VARIATION), **changes)


def week(
    fittings: int, seed: int, *, hours: float = 38.75, pieces=(4, 5, 5, 5, 7), slack: float = 16.0
) -> tuple[Job, ...]:
    """Orders of 4 to 24 fittings through a week, each with a due time; the work of a fitting grows with its size."""
    random = np.random.default_rng((11, seed))
    jobs: list[Job] = []
    order = 0
    while len(jobs) < fittings:
        order += 1
        released = float(random.random() * hours)
        due = released + slack * float(0.5 + random.random())
        size = float(random.lognormal(0, 0.35))
        count = int(random.choice(pieces))
        segment = tuple(Step(code, HOURS[code] * size) for code in ("cut", "roll", "seam"))
        whole = tuple(Step(code, HOURS[code] * size) for code in ("assemble", "ends", "wrap"))
        for _ in range(min(int(random.integers(4, 25)), fittings - len(jobs))):
            jobs.append(Job(f"{len(jobs)}", (segment,) * count, whole, str(order), str(order), released, due))
    return tuple(jobs)
