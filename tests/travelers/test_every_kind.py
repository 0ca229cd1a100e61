"""Every kind from the order to the last scan: released, on papers, through each operation, done, and replayed."""

from __future__ import annotations

import random
from collections import defaultdict

import pytest

from fittings.geometry import KINDS
from fittings.models import Fitting, Order, Segment
from tests import factories
from tests.factories import NOW, OFFICE_ACTOR
from tests.travelers.documents.reading import codes, pages, words
from tests.travelers.floor import LATER, Floor, badge, is_plain
from tests.travelers.kinds import CASES, GOOD, IDS, METHODS, ONLY_CUT
from travelers import papers
from travelers.models import Operation, Task, Traveler
from travelers.release import order_release
from travelers.replay import replay
from travelers.sentences import GORED_KINDS
from travelers.where import fitting_detail, where

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]
every_case = pytest.mark.parametrize(("kind", "params"), CASES, ids=IDS)
OTHER_ENDS = {"end_a": "flange", "end_b": "swage"}


def released(kind: str, params: dict, **line) -> Floor:
    made = factories.order(lines=[factories.line(kind=kind, params=params, **{"quantity": 2, **line})])
    order = order_release(number=made.number, actor=OFFICE_ACTOR, now=NOW)
    return Floor(order, badge())


def steps_of(segment: Segment | None, fitting: Fitting) -> list[str]:
    found = Task.objects.filter(fitting=fitting, segment=segment).order_by("step")
    return list(found.values_list("operation", flat=True))


def test_there_is_a_fitting_of_every_kind():
    assert set(KINDS) == set(GOOD) == {kind for kind, _ in CASES}


@every_case
def test_each_piece_goes_through_what_is_done_to_it(kind, params):
    """Common practice, no source: a disc is only cut; one piece is not assembled; a cap's edge is always turned."""
    on = released(kind, params)
    for segment in on.fitting.segments.all():
        own = steps_of(segment, on.fitting)
        assert own == (["cut"] if segment.role in ONLY_CUT else ["cut", "roll", "seam"])
        if "roll" in own:
            method = Task.objects.get(segment=segment, operation="roll").method
            assert method == METHODS.get((kind, segment.role), "Roll")
    whole = ["assemble"] if on.fitting.segments.count() > 1 else []
    whole += ["ends"] if kind == "end_cap" else []
    assert steps_of(None, on.fitting) == [*whole, "wrap"]
    worked = released(kind, params, **OTHER_ENDS)
    assert "ends" in steps_of(None, worked.fitting)
    assert replay(write=False).differences == []


@every_case
def test_every_step_takes_time(kind, params):
    on = released(kind, params, **OTHER_ENDS)
    tasks = Task.objects.filter(fitting=on.fitting)
    assert all(0.3 < minutes < 600 for minutes in tasks.values_list("minutes", flat=True))


@every_case
def test_its_papers_carry_its_codes(kind, params):
    on = released(kind, params)
    number = on.order.number
    sheets = papers.travelers(number=number, actor=OFFICE_ACTOR, now=NOW)
    traveler = Traveler.objects.get(line__order=on.order)
    assert all([code.text for code in codes(image)] == [traveler.code] for image in pages(sheets))
    text = " ".join(words(sheets))
    assert "None" not in text and "Segments of one fitting" in text
    for name in Operation.objects.filter(tasks__fitting__order=on.order).values_list("name", flat=True):
        assert name in text

    labels = papers.labels(number=number, query={})
    seen = [code.text for image in pages(labels) for code in codes(image)]
    expected = []
    development = on.order.lines.get().development
    for segment in Segment.objects.filter(fitting__order=on.order):
        plates = len(development["segments"][segment.position - 1].get("plates") or ())
        expected += [segment.code] * max(1, plates)
    assert sorted(seen) == sorted(expected)
    assert "None" not in " ".join(words(labels))

    packing = papers.packing_list(number=number, now=NOW)
    assert number in words(packing)[0] and "None" not in words(packing)[0]
    assert "2 fittings in 1 line" in words(packing)[0]


@every_case
def test_from_the_first_scan_to_the_last(kind, params):
    """The first fitting piece by piece from its labels, the second by its own code, the order by both."""
    on = released(kind, params, **OTHER_ENDS)
    first, second = on.fittings
    for operation in Operation.objects.order_by("position").values_list("code", flat=True):
        for segment in first.segments.order_by("position"):
            if operation not in steps_of(segment, first):
                continue
            before = where(segment.code)["results"][0]
            at = next(piece for piece in before["segments"] if piece["asked"])
            assert (at["operation"], at["task_state"]) == (operation, "ready")
            check(on.scan(operation, segment.code))
        if operation in steps_of(None, first):
            assert fitting_detail(first.code)["where"]["text"] == f"Fitting ready at {operation}"
            check(on.scan(operation, first.code))
        if Task.objects.filter(fitting=second, operation=operation).exists():
            check(on.scan(operation, second.code))
    assert [one.state for one in on.fittings] == ["done", "done"]
    assert set(Segment.objects.values_list("state", flat=True)) == {"done"}
    assert set(Task.objects.values_list("state", "is_implied")) == {("done", False)}
    order = Order.objects.get(pk=on.order.pk)
    assert (order.state, order.fittings_done) == ("done", 2)
    assert [row["where"]["text"] for row in where(order.number)["results"]] == ["Finished", "Finished"]
    found = replay(write=False)
    assert (found.differences, found.fittings) == ([], 2)


def check(found) -> None:
    assert found.outcome == "recorded", found.message
    assert is_plain(found.message), found.message


@every_case
def test_the_last_scan_alone_finishes_all_and_its_undo_opens_all(kind, params):
    on = released(kind, params)
    tasks = Task.objects.filter(fitting__order=on.order)
    before = sorted(tasks.values_list("pk", "state", "ready_at"))
    done = on.scan("wrap", on.traveler)
    check(done)
    assert tasks.filter(is_implied=True).count() == tasks.count() - 2
    assert Order.objects.get(pk=on.order.pk).state == "done"
    check(on.scan("wrap", on.traveler, "undo"))
    assert sorted(tasks.values_list("pk", "state", "ready_at")) == before
    assert Order.objects.get(pk=on.order.pk).state == "released"
    assert replay(write=False).differences == []


@every_case
def test_a_scrapped_piece_is_made_again_by_its_own_steps(kind, params):
    on = released(kind, params, **OTHER_ENDS)
    last = on.fitting.segments.order_by("position").last()
    first_whole = steps_of(None, on.fitting)[0]
    on.scan(first_whole, on.fitting.code)
    check(on.scan("cut", last.code, "scrap", reason="Split"))
    again = on.segment(last.position, generation=2)
    assert steps_of(again, on.fitting) == steps_of(last, on.fitting)
    detail = fitting_detail(on.fitting.code)["where"]
    noun = "gore" if kind in GORED_KINDS else "piece"
    rest = on.fitting.segments.filter(generation=1).count() - 1
    waiting = f", {rest} waiting at {first_whole}" if rest else ""
    assert detail["text"] == f"1 {noun} at cut{waiting}"
    waits = where(on.fitting.code)["results"][0]["waits_for"]
    assert waits == f"{first_whole.capitalize()} waits for piece {last.position} from cut"
    for operation in steps_of(again, on.fitting):
        check(on.scan(operation, again.code))
    assert fitting_detail(on.fitting.code)["where"]["text"] == f"Fitting ready at {first_whole}"
    assert replay(write=False).differences == []


@every_case
def test_whatever_is_scanned_the_record_gives_the_state(kind, params):
    on = released(kind, params, **OTHER_ENDS)
    chance = random.Random(7)
    for _ in range(40):
        known = [*Segment.objects.order_by("pk"), *on.fittings]
        code = chance.choice([*(one.code for one in known), on.traveler])
        operation = chance.choice(["cut", "roll", "seam", "assemble", "ends", "wrap"])
        action = chance.choice(["start", "finish", "finish", "hold", "resume", "scrap", "undo"])
        found = on.scan(operation, code, action, reason="Stain", now=LATER)
        assert is_plain(found.message), found.message
    assert replay(write=False).differences == []
    for row in where(on.order.number)["results"]:
        assert "None" not in row["where"]["text"] + row["waits_for"]


def test_gores_are_spoken_of_where_every_piece_is_one():
    """What goes by the kind and what goes by the roles agree."""
    roles = defaultdict(set)
    for kind, params in CASES:
        on = released(kind, params, quantity=1)
        roles[kind] |= set(on.fitting.segments.values_list("role", flat=True))
    for kind, found in roles.items():
        assert (kind in GORED_KINDS) == all("gore" in role for role in found), kind
