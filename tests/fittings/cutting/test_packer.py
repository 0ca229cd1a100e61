"""The general packer behind our words: its answers are proven, its conventions are ours."""

import threading
import time

import numpy as np
import pytest

from fittings.cutting import Layout, Part, Placement, Rules, Stock, Work
from fittings.cutting.layout import sheet_of
from fittings.cutting.packer import PackerError, pack_strip, packer_sheets
from tests.fittings.cutting.checker import proven
from tests.fittings.cutting.instances import convex, disc, mixed_small, rectangle, star


def shapes(count=8, seed=3):
    rng = np.random.default_rng(seed)
    return [((convex if at % 2 else star)(rng, 4 + 8 * rng.random()), 2) for at in range(count)]


def as_layout(parts, width, placed, length, gap, turns):
    """The strip as a sheet of just its size without margin."""
    work = Work(
        tuple(Part(str(at), count, outline) for at, (outline, count) in enumerate(parts)),
        (Stock("strip", width, length + 1e-6),),
        Rules(gap, 0.0, turns),
    )
    sheet = sheet_of(work, work.stock[0], [Placement(str(at), x, y, turn) for at, x, y, turn in placed])
    return work, Layout((sheet,))


@pytest.mark.parametrize("turns", ["any", "half"])
@pytest.mark.parametrize("gap", [0.0, 0.125, 0.5])
def test_a_strip_is_proven(turns, gap):
    parts = shapes()
    placed, length = pack_strip(parts, 24.0, turns=turns, gap=gap)
    proven(*as_layout(parts, 24.0, placed, length, gap, turns))


def test_the_same_seed_without_time_gives_the_same_answer():
    assert pack_strip(shapes(), 24.0, seed=7) == pack_strip(shapes(), 24.0, seed=7)


def test_a_square_in_turned_position_lies_where_it_is_said_to():
    # a bar of 30 on a strip of 10 must turn by a quarter if it may only stand or lie
    bar = rectangle(4, 30)
    placed, length = pack_strip([(bar, 1)], 10.0, turns=[90.0], gap=0.0)
    assert placed[0][3] == pytest.approx(90.0)
    assert length == pytest.approx(30.0, abs=1e-6)
    work, layout = as_layout([(bar, 1)], 10.0, placed, length, 0.0, "any")
    proven(work, layout)


def test_a_part_wider_than_the_strip_or_nearly_so_is_refused():
    for outline in (disc(25), rectangle(23.9, 23.9)):
        with pytest.raises(PackerError, match="Part 1 leaves no room"):
            pack_strip([(disc(5), 1), (outline, 1)], 24.0)


def test_others_go_on_while_it_searches():
    turns_taken, is_done = [], threading.Event()

    def other():
        while not is_done.is_set():
            turns_taken.append(time.monotonic())
            is_done.wait(0.001)

    thread = threading.Thread(target=other)
    thread.start()
    start = time.monotonic()
    pack_strip(shapes(30), 24.0, seconds=1)
    end = time.monotonic()
    is_done.set()
    thread.join()
    during = [at for at in turns_taken if start < at < end]
    assert len(during) > 20


def test_sheets_of_the_packer_alone_are_proven():
    work = Work(mixed_small().parts[:12], (Stock("sheet", 48.0, 60.0),), Rules())
    layout = proven(work, packer_sheets(work, 0))
    assert len(layout.sheets) > 1 and not layout.unplaced


def test_stock_that_runs_out_and_parts_too_large_are_told():
    parts = (Part("big", 2, rectangle(70, 70)), Part("disc", 40, disc(10)))
    work = Work(parts, (Stock("sheet", 30.0, 50.0, count=2),), Rules())
    layout = proven(work, packer_sheets(work, 0))
    assert {one.part for one in layout.unplaced} == {"big", "disc"}
    assert len(layout.sheets) == 2


def test_what_the_packer_cannot_take_goes_on_shelves():
    parts = (Part("as wide as the sheet", 2, disc(29.5)), Part("disc", 4, disc(10)))
    work = Work(parts, (Stock("sheet", 30.0, 50.0),), Rules())
    layout = proven(work, packer_sheets(work, 0))
    assert not layout.unplaced
    assert sorted(len(sheet.placements) for sheet in layout.sheets) == [1, 1, 4]
