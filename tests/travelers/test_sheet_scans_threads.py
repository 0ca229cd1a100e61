"""Sheets scanned by several tablets at once, beside scans of their pieces and pieces taken off: one effect each."""

from __future__ import annotations

import random

import pytest

from fittings.models import CutPiece
from shared.problems import Conflict
from tests.factories import OFFICE_ACTOR
from tests.threads import together
from tests.travelers.floor import NOW, floor, station
from tests.travelers.sheet_floor import big_floor, segments_of, sent_sheets, targets
from travelers.cut_plans import piece_take_off
from travelers.models import Scan, Task
from travelers.replay import replay

pytestmark = pytest.mark.django_db(transaction=True)


def send_all(on, scans) -> None:
    for actor, body in scans:
        on.send(actor, body)


def test_sheets_that_share_fittings_scanned_at_once_hold_up_nobody(live_shop):
    """Each fitting has pieces on every sheet: the fittings are locked in one order, whatever lies where."""
    chance = random.Random(3)
    on = floor(quantity=6)
    pieces = segments_of(on)
    chance.shuffle(pieces)
    sheets = sent_sheets(*(pieces[start::3] for start in range(3)), number=12)
    threads = []
    for number in range(4):
        scans = [(station("cut", f"CUT-{number}"), on.body(sheet.code, "finish")) for sheet in sheets]
        scans += [(station("cut"), on.body(one.code, "finish")) for one in chance.sample(pieces, 4)]
        scans += [(station("roll"), on.body(one.code, "finish")) for one in chance.sample(pieces, 3)]
        chance.shuffle(scans)
        threads.append(lambda scans=scans: send_all(on, [*scans, *scans]))
    together(*threads)
    assert set(Task.objects.filter(operation="cut").values_list("state", flat=True)) == {"done"}
    assert Scan.objects.count() == 4 * 10
    assert replay(write=False).differences == []


def test_two_sheets_with_the_plates_of_the_same_segments_at_once(live_shop):
    big = big_floor()
    both = [[(one, plate) for one in segments_of(big)] for plate in (1, 2)]
    sheets = sent_sheets(*both, number=12)
    bodies = [big.body(sheet.code, "finish") for sheet in sheets]
    together(*(lambda body=body: big.send(station("cut"), body) for body in bodies))
    cuts = Task.objects.filter(operation="cut")
    assert set(cuts.values_list("state", flat=True)) == {"done"}
    assert len(set(cuts.values_list("finished_at", flat=True))) == 1
    assert replay(write=False).differences == []


@pytest.mark.parametrize("round_", range(3))
def test_a_piece_is_taken_off_or_cut_and_never_both(live_shop, round_):
    on = floor(quantity=2)
    (sheet,) = sent_sheets(segments_of(on), number=12)
    segment = on.segment(2)
    refused, results = [], []

    def off() -> None:
        try:
            piece_take_off(
                sheet_code=sheet.code,
                segment_code=segment.code,
                reason="Stain",
                actor=OFFICE_ACTOR,
                now=NOW,
            )
        except Conflict as problem:
            refused.append(problem)

    body = on.body(sheet.code, "finish")
    together(off, lambda: results.append(on.send(station("cut"), body)))
    is_off = not CutPiece.objects.get(segment=segment).is_live
    assert is_off == (not refused)
    assert on.task("cut", 2).state == ("ready" if is_off else "done")
    assert (segment.pk in [one for one, *_ in targets(results[0].sequence)]) == (not is_off)
    assert Task.objects.filter(operation="cut", state="done").count() == 6 - is_off
    assert replay(write=False).differences == []
