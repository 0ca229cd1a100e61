"""What the board says of a simulated floor whose bottleneck is known, and of one that has none."""

from __future__ import annotations

import numpy as np
import pytest

from shopfloor.flow.floor import Job, Step
from shopfloor.flow.queue import SHORTEST_LOOK, is_piling_up, offered
from shopfloor.flow.simulation import Look, simulate

from .invented_floor import BENCHES, OPERATIONS, floor

FITTINGS_AN_HOUR = 12.0
GORES = 5
LIGHT, OVER = 0.6, 1.3
EVERY = 1 / 12
LATELY = 2.0
SHIFT = 7.75
SEEDS = 100


def work(load: float, hours: float, seed: int, slow: str = "") -> tuple[Job, ...]:
    """Fittings of five gores at random times. Each operation's benches have this load; those of `slow` too much."""
    each = {}
    for code in OPERATIONS:
        pieces = FITTINGS_AN_HOUR * (GORES if code in ("cut", "roll", "seam") else 1)
        each[code] = BENCHES[code] * (OVER if code == slow else load) / pieces
    segment = tuple(Step(code, each[code]) for code in OPERATIONS[:3])
    whole = tuple(Step(code, each[code]) for code in OPERATIONS[3:])
    random = np.random.default_rng((31, seed))
    times = np.cumsum(random.exponential(1 / FITTINGS_AN_HOUR, int(3 * FITTINGS_AN_HOUR * hours) + 20))
    return tuple(
        Job(f"{at}", (segment,) * GORES, whole, f"{at}", f"{at}", float(time))
        for at, time in enumerate(times)
        if time < hours
    )


def looks_at(load: float, hours: float, seed: int, slow: str = "") -> list[Look]:
    found: list[Look] = []
    simulate(floor(), work(load, hours, seed, slow), seed=seed, until=hours, every=EVERY, look=found.append)
    return found


def named(looks: list[Look]) -> list[str]:
    """The bottleneck at each look, as the board takes it: from what lies there and what was finished lately."""
    names = []
    for at, look in enumerate(looks):
        before = looks[at - round(LATELY / EVERY)].done if at >= round(LATELY / EVERY) else {}
        load = {
            code: offered(look.hours[code], look.done[code] - before.get(code, 0.0), BENCHES[code])
            for code in OPERATIONS
        }
        names.append(max(load, key=load.__getitem__))
    return names


@pytest.mark.parametrize("slow", ["roll", "assemble", "wrap"])
def test_the_board_names_the_bottleneck_within_an_hour_and_keeps_to_it(slow):
    """In at least 95 of 100 seeds; after that hour the name changes hardly ever."""
    right, changes = 0, 0
    for seed in range(SEEDS):
        names = named(looks_at(LIGHT, 3.0, seed, slow))
        hour = round(1 / EVERY) - 1
        right += names[hour] == slow
        changes += sum(one != other for one, other in zip(names[hour:], names[hour + 1 :], strict=False))
    assert right >= 95
    assert changes <= 0.2 * SEEDS


def test_a_balanced_floor_with_little_to_do_stays_calm():
    """Twenty shifts: at most one pile-up is told, whose dead band keeps it from coming and going."""
    told = 0
    for seed in range(20):
        piled: set[str] = set()
        for look in looks_at(LIGHT, SHIFT, 500 + seed):
            left = max(SHORTEST_LOOK, SHIFT - look.at)
            now = {
                code
                for code in OPERATIONS
                if is_piling_up(look.hours[code], left * BENCHES[code], code in piled)
            }
            told += len(now - piled)
            piled = now
    assert told <= 1


def test_an_operation_that_takes_too_long_piles_up_and_stays_so():
    looks = looks_at(LIGHT, SHIFT, 1, "roll")
    piled, changes = False, 0
    for look in looks:
        now = is_piling_up(look.hours["roll"], max(SHORTEST_LOOK, SHIFT - look.at) * BENCHES["roll"], piled)
        changes += now != piled
        piled = now
    assert piled and changes == 1
