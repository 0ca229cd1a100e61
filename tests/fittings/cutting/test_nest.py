"""Layouts are proven, not trusted: every layout of these works is checked by shapely alone."""

import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

from fittings.cutting import ANY, HALF, QUICK, TURNS, Layout, Part, Rules, Stock, Work, nest, stock_used
from fittings.cutting.shelf import shelf_sheets
from fittings.cutting.unplaced import fits
from tests.cases import cases
from tests.fittings.cutting.checker import proven
from tests.fittings.cutting.instances import (
    INSTANCES,
    convex,
    disc,
    elbow,
    equal_gores_5000,
    rectangle,
    star,
)

FEW = settings(
    max_examples=cases(20),
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # to shrink a layout would take minutes
)


def area_left_out(work, layout):
    area = {part.id: part.area for part in work.parts}
    return sum(one.count * area[one.part] for one in layout.unplaced)


def no_worse_than_shelves(work, layout):
    sheets, left = shelf_sheets(work)
    area = {part.id: part.area for part in work.parts}
    on_shelves = sum(count * area[name] for name, count in left.items())
    mine = area_left_out(work, layout)
    assert mine <= on_shelves + 1e-6
    if abs(mine - on_shelves) < 1e-6:
        assert stock_used(layout.sheets) <= stock_used(sheets) + 1e-6


@st.composite
def works(draw):
    """Small works of every sort of shape, stock and rule."""
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    makes = {
        "rectangle": lambda size: rectangle(*(size * (0.2 + 0.8 * rng.random(2)))),
        "disc": lambda size: disc(size, 24),
        "convex": lambda size: convex(rng, size),
        "star": lambda size: star(rng, size),
        "gore": lambda size: elbow(float(rng.integers(4, 13))).segments[int(rng.integers(0, 5))].cut_outline,
    }
    parts = []
    for at in range(draw(st.integers(1, 6))):
        outline = makes[draw(st.sampled_from(sorted(makes)))](float(2 + 30 * rng.random()))
        moved = outline + rng.uniform(-50, 50, 2)  # an origin of its own
        others = (outline[:, ::-1][::-1].copy(),) if draw(st.booleans()) else ()
        parts.append(Part(f"p{at}", draw(st.integers(1, 8)), moved, others, urgency=draw(st.integers(0, 1))))
    stock = []
    for at in range(draw(st.integers(1, 3))):
        count = draw(st.sampled_from([None, None, 0, 1, 3]))
        size = rng.uniform(15, 60), rng.uniform(30, 120)
        stock.append(Stock(f"s{at}", *size, count=count, is_coil=draw(st.booleans())))
    gap = draw(st.sampled_from([0.0, 0.125, 0.5, 3.0]))
    margin = draw(st.sampled_from([0.0, 0.25, 2.0]))
    return Work(tuple(parts), tuple(stock), Rules(gap, margin, draw(st.sampled_from(TURNS))))


@FEW
@given(works(), st.integers(1, 3))
def test_every_layout_is_proven_and_no_worse_than_shelves(work, seed):
    layout = proven(work, nest(work, seconds=1.5, seed=seed))
    no_worse_than_shelves(work, layout)
    for one in layout.unplaced:  # what goes on stock without limit, as it lies, is not left out
        part = next(part for part in work.parts if part.id == one.part)
        still = Rules(work.rules.gap, work.rules.margin, "none")
        assert not any(stock.count is None and fits(part.outline, stock, still) for stock in work.stock)


def small_work(shape, turns=ANY):
    rng = np.random.default_rng(5)
    parts = tuple(Part(f"p{at}", 3, shape(rng)) for at in range(3))
    return Work(parts, (Stock("sheet", 40.0, 60.0),), Rules(turns=turns))


@pytest.mark.parametrize(
    "work",
    [
        small_work(lambda rng: rectangle(*(4 + 16 * rng.random(2)))),
        small_work(lambda rng: star(rng, 12)),
        small_work(lambda rng: elbow(float(rng.integers(4, 9))).segments[1].cut_outline, HALF),
    ],
    ids=["rectangles", "stars", "gores"],
)
def test_the_same_seed_and_effort_give_the_same_layout(work):
    first, second = (proven(work, nest(work, effort=QUICK, seed=4)) for _ in range(2))
    assert first == second
    no_worse_than_shelves(work, first)


@pytest.mark.parametrize("name", sorted(INSTANCES))
def test_orders_are_proven_after_a_few_seconds(name):
    work = INSTANCES[name]()
    layout = proven(work, nest(work, seconds=4))
    assert not layout.unplaced
    no_worse_than_shelves(work, layout)


def test_5000_equal_gores_within_20_seconds():
    work = equal_gores_5000()
    start = time.perf_counter()
    layout = nest(work, seconds=10)
    assert time.perf_counter() - start < 20
    proven(work, layout)
    # every seam at the throat: the gores bulge in the middle; still far better than their boxes
    assert layout.utilisation > 1.2 * Layout(shelf_sheets(work)[0]).utilisation


def test_it_tells_how_far_it_is_and_stops_with_what_it_has():
    work = INSTANCES["gores alternating"]()
    told = []

    def watch(progress):
        told.append(progress)
        return len(told) < 4

    start = time.perf_counter()
    layout = proven(work, nest(work, seconds=60, watch=watch))
    assert time.perf_counter() - start < 30
    shares = [one.share for one in told]
    assert shares == sorted(shares) and all(0 <= share <= 1 for share in shares)
    assert not layout.unplaced


def test_more_urgent_parts_go_on_first_where_stock_runs_out():
    later, first = Part("later", 4, rectangle(20, 20), urgency=1), Part("first", 4, rectangle(18, 18))
    work = Work((later, first), (Stock("one", 20.5, 80.0, count=1),), Rules(0.125, 0.25, ANY))
    layout = proven(work, nest(work, effort=QUICK))
    assert [one.part for one in layout.unplaced] == ["later"]


@pytest.mark.parametrize("turns", [ANY, HALF])
def test_wedges_pass_each_other_by_their_thin_ends(turns):
    """Two wedges, 30 in high at one end and 10 at the other, go on 46 in only where they are moved apart.

    One over the other their middles are (30 + 10) / 2 = 20 apart: 15 + 20 + 15 = 50 in. Moved 30 in apart on 100 in,
    each is 30 − 20 · 30 / 70 = 21.4 in high where the other one begins: 15 + (21.4 + 10) / 2 + 15 = 45.7 in.
    """
    wedge = np.array([[0, 0], [70, 10], [70, 20], [0, 30]], float)
    work = Work((Part("wedge", 6, wedge),), (Stock("sheet", 46.0, 100.0),), Rules(0, 0, turns))
    layout = nest(work, effort=QUICK)
    proven(work, layout)
    assert len(layout.sheets) == 3


def test_rows_of_one_less_lie_between_the_others():
    """Discs of 10 in on 43 in: four in a row, then three between them, 8.66 in on: ten rows in 87.94 in hold 35 discs.

    Four below four are 32 on as much; rows along the sheet are four of eight, 32 as well.
    """
    work = Work((Part("disc", 70, disc(10.0)),), (Stock("sheet", 43.2, 88.7),), Rules(0, 0, HALF))
    layout = nest(work, effort=QUICK)
    proven(work, layout)
    assert len(layout.sheets) == 2


def test_whoever_starts_the_app_reads_nothing_of_the_solver():
    code = "from fittings.cutting.programme import quiet_solver; quiet_solver().run(); print('ready')"
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[3],
        check=True,
    )
    assert done.stdout == "ready\n"
