"""Utilisation and time of the nesting core beside boxes on shelves, the general packer alone, and the proven bound.

    .venv/bin/python -m tests.bench.bench_nest [--only gores] [--seconds 5 60] [--no-packer] [--effort normal]

Every layout is proven by the checker of the tests before its figure is printed. Each search runs in a process of its
own, so that the peak of its memory is its own; compiled loops are loaded before its time counts.

- bound   a proven upper limit
- boxes   the smallest boxes round the parts on shelves: as they come, all lying, all standing; the best of the three
- packer  the general packer alone on real sheets, given the longest of the times
"""

from __future__ import annotations

import argparse
import math
import multiprocessing
import resource
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np
import shapely

from fittings.cutting import EFFORTS, NORMAL, Layout, Rules, Work, nest
from fittings.cutting.bound import upper_bound
from fittings.cutting.packer import packer_sheets
from fittings.cutting.shelf import shelf_sheets
from tests.fittings.cutting.checker import proven
from tests.fittings.cutting.instances import GENERIC, INSTANCES, rectangles

WORKS = INSTANCES | GENERIC


def boxes(work: Work) -> float:
    """The best of three ways to lay boxes on shelves."""
    found = [Layout(shelf_sheets(work)[0]).utilisation]
    for is_lying in (True, False):
        parts = tuple(
            replace(part, outline=_boxed(part.outline, is_lying), alternatives=()) for part in work.parts
        )
        own = Work(parts, work.stock, Rules(work.rules.gap, work.rules.margin, "none"))
        sheets, left = shelf_sheets(own)
        if not left:
            real = {part.id: part.area for part in work.parts}
            sheets = tuple(
                replace(sheet, area=sum(real[one.part] for one in sheet.placements)) for sheet in sheets
            )
            found.append(Layout(sheets).utilisation)
    return max(found)


def _boxed(outline: np.ndarray, is_lying: bool) -> np.ndarray:
    """The smallest box round an outline, its long side along the sheet or across it."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shapely.multipoints(outline)))
    sides = sorted(math.hypot(*side) for side in np.diff(corners[:3], axis=0))
    x, y = (sides[1], sides[0]) if is_lying else (sides[0], sides[1])
    return np.array([[0, 0], [x, 0], [x, y], [0, y]])


def searched(name: str, way: str, amount, seed: int) -> tuple[float, float, float, int]:
    """Utilisation, seconds, peak MiB and sheets of one search, proven."""
    work = WORKS[name]()
    nest(rectangles(), seconds=0.1)  # compiled loops are loaded
    start = time.perf_counter()
    if way == "packer":
        layout = packer_sheets(work, amount, seed)
    elif way == "seconds":
        layout = nest(work, seconds=amount, seed=seed)
    else:
        layout = nest(work, effort=amount, seed=seed)
    took = time.perf_counter() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    proven(work, layout)
    if layout.unplaced:
        raise SystemExit(f"{name}: {layout.unplaced[0].why}")
    return layout.utilisation, took, peak, len(layout.sheets)


def alone(*arguments):
    """A search in a process of its own."""
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(1, mp_context=context) as pool:
        return pool.submit(searched, *arguments).result()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("--only", default="", help="part of an instance's name")
    parser.add_argument("--seconds", type=float, nargs="*", default=[5.0, 60.0])
    parser.add_argument("--effort", nargs="*", default=[NORMAL], choices=[*EFFORTS, "none"])
    parser.add_argument("--no-packer", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    runs = [("seconds", seconds) for seconds in asked.seconds]
    runs += [("effort", effort) for effort in asked.effort if effort != "none"]
    titles = [f"{amount:g} s" if way == "seconds" else amount for way, amount in runs]
    heads = ["work", "parts", "bound", "boxes", "packer", *titles, "of bound", "sheets", "s", "MiB"]
    print("| " + " | ".join(heads) + " |")
    print("| " + " | ".join("---" for _ in heads) + " |")
    upper_bound(rectangles())
    for name, make in WORKS.items():
        if asked.only not in name:
            continue
        work = make()
        bound = upper_bound(work)
        row = [name, str(sum(part.count for part in work.parts)), f"{bound:.3f}", f"{boxes(work):.3f}"]
        longest = max(asked.seconds, default=60.0)
        row.append("–" if asked.no_packer else f"{alone(name, 'packer', longest, asked.seed)[0]:.3f}")
        found = [alone(name, way, amount, asked.seed) for way, amount in runs]
        row += [f"{one[0]:.3f}" for one in found]
        row.append(" / ".join(f"{one[0] / bound:.3f}" for one in found))
        row.append(" / ".join(str(one[3]) for one in found))
        row.append(" / ".join(f"{one[1]:.0f}" for one in found))
        row.append(f"{max((one[2] for one in found), default=0):.0f}")
        print("| " + " | ".join(row) + " |", flush=True)


if __name__ == "__main__":
    main()
