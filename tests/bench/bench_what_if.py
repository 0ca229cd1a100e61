"""The simulation's speed, and what the rule of the next piece buys.

    .venv/bin/python -m tests.bench.bench_what_if [fittings] [runs]

1. A week of 500 fittings, 100 runs, in as many processes as there are processors: seconds (at most 30).
2. The rule of the tablets beside the longest ready first, thirty weeks with the same luck: lead time and fittings on
   the floor.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from concurrent.futures import ProcessPoolExecutor

from shopfloor.flow.estimates import difference, range_of
from shopfloor.flow.floor import NEXT_PIECE, OLDEST
from shopfloor.flow.simulation import repeated, simulate
from tests.bench.harness import report
from tests.shopfloor.invented_floor import floor, week

SEEDS = 30


def main(fittings: int = 500, runs: int = 100) -> None:
    jobs = week(fittings, 1)
    with ProcessPoolExecutor() as pool:
        list(pool.map(abs, range(os.cpu_count() or 1)))
        began = time.perf_counter()
        found = repeated(floor(), jobs, runs=runs, seed=1, spread=spread_over(pool, runs))
        took = time.perf_counter() - began
    steps = sum(len(steps) for job in jobs for steps in (*job.segments, job.whole))
    print(f"{fittings} fittings, {steps} steps, {runs} runs, {os.cpu_count()} processors")
    report("a week simulated, s", took, "at most 30")
    busy = {code: range_of([run.busy[code] for run in found]) for code in found[0].busy}
    print("busy: " + ", ".join(f"{code} {share.mean:.2f} ± {share.half:.2f}" for code, share in busy.items()))
    lead, there = {}, {}
    for rule in (OLDEST, NEXT_PIECE):
        own = [simulate(floor(rule=rule), week(fittings, seed), seed=seed) for seed in range(SEEDS)]
        lead[rule] = [statistics.median(run.lead.values()) for run in own]
        there[rule] = [run.on_floor for run in own]
    for name, by_rule in (("median lead time, h", lead), ("fittings on the floor", there)):
        less = difference(by_rule[OLDEST], by_rule[NEXT_PIECE])
        report(f"{name}, longest ready first", statistics.fmean(by_rule[OLDEST]), "")
        report(f"{name}, next piece", statistics.fmean(by_rule[NEXT_PIECE]), "")
        print(f"    difference {less.mean:+.2f}, from {less.low:+.2f} to {less.high:+.2f}")


def spread_over(pool: ProcessPoolExecutor, runs: int):
    """`map` over a pool, in a few large shares."""
    share = max(1, runs // (4 * (os.cpu_count() or 1)))
    return lambda work, numbers: pool.map(work, numbers, chunksize=share)


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
