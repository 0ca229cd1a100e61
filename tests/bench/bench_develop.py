"""Developing each kind at its default tolerance, beside a fixed piece of numpy work; and how often a release develops.

    python -m tests.bench.bench_develop [rounds]

Prints for each kind and size the median time of one `develop` [ms] (at most 30), and how many times that of the fixed
work it is: figures in ms wander with the machine's load, the ratio less so. Both are measured in turns, in time of
the processor: `develop` runs in one thread and waits for nothing, so on an idle machine a clock shows the same. `large`
fittings are made of plates. Then an order of 1,000 equal lines of one elbow, and one of 1,000 elbows in one line, are
released, and the calls of `develop` are counted: one each.
"""

from __future__ import annotations

import statistics
import sys
import time
import uuid
from collections.abc import Callable

import numpy as np

from tests.bench import harness

AT_MOST = 30.0  # ms
LINES = 1000
_PSI = np.linspace(0, 2 * np.pi, 2001)
LARGE = {
    "gored_elbow": {"diameter": 60, "angle": 90, "pieces": 9, "radius_ratio": 1.5, "stagger_seams": True},
    "reducer": {"diameter_a": 96, "diameter_b": 60, "length": 60, "offset": 12, "collar_a": 4, "collar_b": 4},
    "offset": {"diameter": 60, "offset": 80, "angle": 45, "pieces": 5},
    "end_cap": {"diameter": 90, "depth": 6, "construction": "ring"},
    "tee": {"diameter": 96, "branch_diameter": 90, "angle": 45, "length": 240, "branch_length": 200},
    "saddle": {"diameter": 96, "branch_diameter": 90, "angle": 45, "branch_length": 200},
    "square_to_round": {"width": 100, "height": 60, "diameter": 70, "length": 60, "offset_x": 10, "offset_y": 5},
    "pipe": {"diameter": 96, "length": 120},
    "conical_tee": {
        "diameter": 96, "base_diameter": 80, "branch_diameter": 60, "length": 200, "branch_length": 120, "collar": 6,
    },
    "wye": {"diameter": 96, "branch_diameter": 60, "main_length": 80, "branch_length": 150},
    "reducing_elbow": {"diameter_a": 60, "diameter_b": 40, "angle": 90, "pieces": 9, "collar_a": 4, "collar_b": 4},
}  # fmt: skip


def fixed_work() -> float:
    """What the ratios stand on: a ring of 2,001 points turned and measured twenty times."""
    ring = np.column_stack([np.cos(_PSI), np.sin(_PSI), _PSI])
    total = 0.0
    for k in range(20):
        cos, sin = np.cos(k / 7), np.sin(k / 7)
        turned = ring @ np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
        total += float(np.linalg.norm(np.diff(turned, axis=0), axis=1).sum())
    return total


def milliseconds(run: Callable[[], object]) -> float:
    began = time.thread_time()
    run()
    return (time.thread_time() - began) * 1000


def developments(rounds: int) -> None:
    from fittings.geometry import KINDS, Allowances, Practice, Sheet, develop
    from tests.fittings.drawing.kinds import PARAMS

    sheet = Sheet("galvanized", 22, 0.0336, 1.406, 120, 60)
    allowances = Allowances(lap=0.5, edge_a=0.25, edge_b=0.375)
    slowest = 0.0
    for kind in KINDS:
        for name, params in (PARAMS[kind] | {"large": LARGE[kind]}).items():
            own, fixed = [], []
            for _ in range(rounds):
                own.append(
                    milliseconds(
                        lambda kind=kind, params=params: develop(
                            kind, params, sheet=sheet, allowances=allowances, practice=Practice()
                        )
                    )
                )
                fixed.append(milliseconds(fixed_work))
            median = statistics.median(own)
            slowest = max(slowest, median)
            ratio = median / statistics.median(fixed)
            harness.report(
                f"{kind}, {name} [ms]", median, f"at most {AT_MOST:g}; {ratio:.1f} times the fixed work"
            )
    harness.report("slowest median of one develop [ms]", slowest, f"at most {AT_MOST:g}")


def releases() -> None:
    harness.django_set_up()
    from django.utils import timezone

    import fittings.developing
    from fittings.models import Customer, Fitting, Order, OrderLine
    from shared.roles import OFFICE, Actor
    from travelers.release import order_release

    customer = Customer.objects.get_or_create(name="Bench Mechanical")[0]
    develop, calls = fittings.developing.develop, []

    def counted(*given, **named):
        calls.append(given)
        return develop(*given, **named)

    fittings.developing.develop = counted
    for lines, quantity in ((LINES, 1), (1, LINES)):
        now = timezone.now()
        number = f"B{uuid.uuid4().hex[:8]}"
        order = Order.objects.create(number=number, customer=customer, created_at=now, created_by="bench")
        OrderLine.objects.bulk_create(
            OrderLine(
                order=order,
                position=position + 1,
                quantity=quantity,
                kind="gored_elbow",
                material="galvanized",
                gauge=24,
                params={"diameter": 14, "angle": 90, "pieces": 5, "radius_ratio": 1.5},
            )
            for position in range(lines)
        )
        calls.clear()
        order_release(number=number, actor=Actor("bench", OFFICE), now=now)
        made = Fitting.objects.filter(order=order).count()
        harness.report(f"develop calls, {lines} equal lines of {quantity} ({made} fittings)", len(calls), "1")
    fittings.developing.develop = develop


def main(rounds: int = 21) -> None:
    developments(rounds)
    releases()


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:]))
