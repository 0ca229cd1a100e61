"""One delivered scan: what is recorded, what is refused and why, and that the same id has one effect."""

from __future__ import annotations

import random
import re
from datetime import timedelta

import pytest
from django.db.models import Max

from fittings import numbering
from fittings.models import Order, Segment
from shared.codes import make_code
from shared.problems import NotAllowed
from shared.roles import DISPLAY, OFFICE, SUPERVISOR, Actor
from tests.travelers.floor import LATER, NOW, SUPERVISOR_HAND, badge, facts, floor, is_plain, station
from travelers.models import Operation, Operator, Pulse, Scan, ScanMismatch
from travelers.record import scan_record
from travelers.release import order_cancel
from travelers.replay import replay

pytestmark = pytest.mark.django_db


# -- what is recorded -------------------------------------------------------------


def test_finish_records_and_moves_the_piece_on(on):
    done = on.scan("cut", on.segment(1).code)
    assert (done.outcome, done.first_outcome, done.operation, done.changed) == (
        "recorded",
        "recorded",
        "cut",
        2,
    )
    assert done.message == "Gore 1 of 3 cut. Next: Roll."
    cut = on.task("cut", 1)
    assert (cut.state, cut.station, cut.badge) == ("done", "CUT-1", on.badge)
    assert cut.finished_at == NOW + timedelta(minutes=1)
    assert on.task("roll", 1).state == "ready"
    assert on.task("roll", 1).ready_at == cut.finished_at
    row = Scan.objects.get(sequence=done.sequence)
    assert (row.scanned_at, row.received_at) == (NOW + timedelta(minutes=1), LATER)


@pytest.mark.parametrize(
    ("action", "before", "state", "message"),
    [
        ("start", (), "running", "Gore 1 of 3 started at Cut."),
        ("hold", (), "held", "Gore 1 of 3 is on hold at Cut: No sheet."),
        ("resume", ("start", "hold"), "running", "Gore 1 of 3 goes on at Cut."),
        ("resume", ("hold",), "ready", "Gore 1 of 3 goes on at Cut."),
        ("scrap", ("start",), "void", "Gore 1 of 3 is scrapped and will be made again."),
        ("undo", ("finish",), "ready", "Gore 1 of 3: Cut is undone."),
        ("undo", ("start",), "ready", "Gore 1 of 3: the start at Cut is undone."),
        ("undo", ("hold",), "ready", "Gore 1 of 3: the hold is undone."),
        ("undo", ("hold", "resume"), "held", "Gore 1 of 3 is on hold again."),
        ("undo", ("scrap",), "ready", "Gore 1 of 3 is not scrapped any more."),
    ],
)
def test_each_action(on, action, before, state, message):
    code = on.segment(1).code
    for one in before:
        assert on.scan("cut", code, one, reason="No sheet").outcome == "recorded"
    done = on.scan("cut", code, action, reason="No sheet")
    assert (done.outcome, done.message) == ("recorded", message)
    assert on.task("cut", 1).state == state


def test_an_undo_that_names_an_undo_is_answered_and_changes_nothing(on):
    code = on.segment(1).code
    on.scan("cut", code)
    undo = on.body(code, "undo")
    assert on.send(station("cut"), undo).outcome == "recorded"
    back = on.send(station("cut"), on.body(code, "undo") | {"undoes": undo["id"]})
    assert (back.outcome, back.message) == ("recorded", "Gore 1 of 3: undone.")
    assert on.task("cut", 1).state == "ready"


def test_the_fitting_is_done_with_its_last_operation_and_the_order_with_its_last_fitting(on):
    for operation in ("cut", "roll", "seam", "assemble"):
        assert on.scan(operation, on.traveler).outcome == "recorded"
    on.scan("wrap", on.fittings[0].code)
    assert [one.state for one in on.fittings] == ["done", "open"]
    order = Order.objects.get(pk=on.order.pk)
    assert (order.state, order.fittings_done) == ("released", 1)
    last = on.scan("wrap", on.fittings[1].code)
    order.refresh_from_db()
    assert last.message == "Fitting 2 wrapped."
    assert (order.state, order.fittings_done, order.ended_at) == ("done", 2, on.fittings[1].done_at)
    undone = on.scan("wrap", on.fittings[1].code, "undo")
    order.refresh_from_db()
    assert undone.outcome == "recorded"
    assert (order.state, order.fittings_done, order.ended_at) == ("released", 1, None)


def test_a_later_scan_marks_the_missed_ones(on):
    done = on.scan("seam", on.segment(1).code)
    assert done.message == "Gore 1 of 3 seamed. Next: Assemble. 2 missed before it."
    assert [on.task(one, 1).is_implied for one in ("cut", "roll", "seam")] == [True, True, False]


def test_an_operation_with_its_own_scan_stops_what_passes_it(shop):
    Operation.objects.filter(code="roll").update(needs_own_scan=True)
    on = floor()
    refused = on.scan("seam", on.segment(1).code)
    assert (refused.outcome, refused.message) == (
        "refused",
        "Gore 1 of 3 still needs its Roll scan. Take it there first.",
    )
    on.scan("roll", on.segment(1).code)
    assert on.scan("seam", on.segment(1).code).outcome == "recorded"


# -- the same id ---------------------------------------------------------------------


def test_the_same_scan_again_gets_the_first_answer_and_changes_nothing(on):
    body = on.body(on.segment(1).code, "finish")
    first = on.send(station("cut"), body)
    before = facts()
    for now in (LATER, LATER + timedelta(days=400)):
        again = on.send(station("cut"), body, now=now)
        assert (again.outcome, again.first_outcome, again.message) == ("repeated", "recorded", first.message)
        assert (again.sequence, again.changed, again.operation) == (first.sequence, 0, "cut")
    assert facts() == before
    assert Scan.objects.count() == 1
    assert ScanMismatch.objects.count() == 0


def test_the_same_scan_from_another_station_is_repeated_too(on):
    body = on.body(on.segment(1).code, "finish")
    on.send(station("cut"), body)
    before = facts()
    assert on.send(station("seam"), body).outcome == "repeated"
    assert on.send(SUPERVISOR_HAND, body).outcome == "repeated"
    assert facts() == before


def test_a_refused_scan_is_kept_and_stays_refused(on):
    code = on.segment(1).code
    on.scan("cut", code)
    body = on.body(code, "finish")
    refused = on.send(station("cut"), body)
    assert refused.outcome == "refused"
    assert re.fullmatch(
        r"Gore 1 of 3: Cut was finished by Sam Invented \d+ at Mon 2 Mar, 08:01\.", refused.message
    )
    on.scan("cut", code, "undo")
    again = on.send(station("cut"), body)
    assert (again.outcome, again.first_outcome, again.message) == ("repeated", "refused", refused.message)
    assert on.task("cut", 1).state == "ready"
    fresh = on.send(station("cut"), on.body(code, "finish"))
    assert fresh.outcome == "recorded"


def test_the_same_id_with_another_body_keeps_the_first_answer_and_is_listed(on):
    body = on.body(on.segment(1).code, "finish")
    first = on.send(station("cut"), body)
    before = facts()
    other = on.send(station("roll"), body | {"code": on.segment(2).code, "action": "scrap"})
    assert (other.outcome, other.message, other.code) == ("repeated", first.message, first.code)
    assert facts() == before
    mismatch = ScanMismatch.objects.get()
    assert (mismatch.scan_id, mismatch.station, mismatch.body["action"]) == (body["id"], "ROLL-1", "scrap")


@pytest.mark.parametrize("seed", range(6))
def test_many_ids_delivered_many_times_in_any_order_have_one_effect_each(shop, seed):
    chance = random.Random(seed)
    on = floor(quantity=2)
    bodies = []
    for operation in ("cut", "roll", "seam", "assemble", "wrap"):
        codes = [on.traveler] if chance.random() < 0.3 else [one.code for one in on.fittings]
        if operation in ("cut", "roll", "seam") and chance.random() < 0.6:
            codes = list(Segment.objects.filter(fitting__order=on.order).values_list("code", flat=True))
        bodies += [(station(operation), on.body(code, "finish")) for code in codes]
    deliveries = bodies * 3
    chance.shuffle(deliveries)
    answers: dict[str, set] = {}
    for actor, body in deliveries:
        found = on.send(actor, body)
        answers.setdefault(body["id"], set()).add((found.first_outcome, found.message, found.sequence))
    assert all(len(found) == 1 for found in answers.values())
    assert Scan.objects.count() == len(bodies)
    assert [one.state for one in on.fittings] == ["done", "done"]
    assert replay(write=False).differences == []


@pytest.mark.parametrize("scan_id", ["", None, 7, "x" * 65, "with space 12", "-begins-badly", "ünïcödé-id-1"])
def test_without_a_usable_id_nothing_is_kept(on, scan_id):
    found = on.send(station("cut"), on.body(on.segment(1).code, "finish", id=scan_id))
    assert (found.outcome, found.sequence) == ("refused", None)
    assert Scan.objects.count() == 0
    assert is_plain(found.message)


def test_two_long_ids_that_begin_alike_are_not_taken_for_one(on):
    """An id is never cut to fit: the second scan would get the first one's answer and be lost."""
    for position, end in ((1, "a"), (2, "b")):
        found = on.scan("cut", on.segment(position).code, id="x" * 64 + end)
        assert (found.outcome, found.sequence) == ("refused", None)


# -- the code ---------------------------------------------------------------------------


def test_a_mistyped_code_is_refused_and_kept(on):
    code = on.segment(1).code
    wrong = code[:-1] + ("2" if code[-1] != "2" else "3")
    found = on.scan("cut", wrong)
    assert (found.outcome, found.message) == ("refused", "That code has a mistyped character. Scan it again.")
    assert Scan.objects.get().reason_code == "code_check"


def test_a_code_is_read_as_people_type_it(on):
    code = on.segment(1).code
    assert on.scan("cut", f" {code[:3].lower()}-{code[3:].lower()} ").outcome == "recorded"


def test_another_shops_code_is_told_apart(on):
    mark = "ZZ" if numbering.shop_mark() != "ZZ" else "YY"
    other = next(code for number in range(50) if (code := make_code(mark, number)))
    found = on.scan("cut", other)
    assert (found.outcome, found.message) == (
        "refused",
        f"Code {other} is another shop's. Set the piece aside.",
    )


def test_a_code_of_ours_that_no_piece_has(on):
    unused = numbering.take(1)[0]
    assert on.scan("cut", unused).message == f"No piece has the code {unused}. Scan it again."


def test_a_badge_is_no_piece(on):
    found = on.scan("cut", on.badge)
    assert (found.outcome, found.message) == (
        "refused",
        "That is a badge, not a piece. Scan a traveler or a label.",
    )


def test_a_badge_that_was_closed_says_so(on):
    closed = Operator.objects.create(code=numbering.take(1)[0], name="Gone Invented", is_active=False)
    found = on.scan("cut", closed.code)
    assert (found.outcome, found.message) == ("refused", "That badge is not in use. Ask the supervisor.")


@pytest.mark.parametrize(
    "code",
    [
        "",
        " ",
        None,
        12,
        [],
        {"a": 1},
        "\x00\x07",
        "<script>",
        "K" * 3000,
        "ДX00004",
        "' OR 1=1 --",
        "🙂🙂🙂🙂🙂🙂🙂",
    ],
)
def test_garbage_is_refused_in_a_sentence(on, code):
    before = facts()
    found = on.scan("cut", code)
    assert found.outcome == "refused"
    assert is_plain(found.message), found.message
    assert facts() == before
    assert Scan.objects.count() == 1


@pytest.mark.parametrize("body", [None, [], "text", 7, {}, {"id": "only-an-id-1"}])
def test_what_is_no_scan_is_refused(on, body):
    before = facts()
    found = on.send(station("cut"), body)
    assert found.outcome == "refused"
    assert facts() == before


@pytest.mark.parametrize(
    "field", ["code", "action", "count", "badge", "reason", "undoes", "station", "scanned_at"]
)
@pytest.mark.parametrize(
    "value", ["a\x00b", "\ud800", {"a": "\x00"}, ["\x00"], "\r\n\x1b[2J", 10**40, -1, 1e308]
)
def test_no_value_of_any_field_breaks_it(on, field, value):
    """PostgreSQL takes no NUL and no half of a character; what is shown takes no control characters."""
    found = on.send(station("cut"), on.body(on.segment(1).code, "finish") | {field: value})
    assert found.outcome in ("recorded", "refused")
    assert found.message.isprintable()
    assert replay(write=False).differences == []
    again = on.scan("cut", on.segment(1).code, id=found.id)
    assert (again.outcome, again.message) == ("repeated", found.message)
    assert ScanMismatch.objects.count() == 1


@pytest.mark.parametrize("action", ["", None, "Finish", "delete", 3, ["finish"]])
def test_an_unknown_action_is_refused_naming_those_there_are(on, action):
    found = on.scan("cut", on.segment(1).code, action)
    assert found.outcome == "refused"
    assert "start, finish, hold, resume, scrap, undo" in found.message


# -- who and where ---------------------------------------------------------------------


def test_badges(on):
    code = on.segment(1).code
    assert on.scan("cut", code, badge="").message == "Scan your badge first."
    assert on.scan("cut", code, badge=...).message == "Scan your badge first."
    unknown = numbering.take(1)[0]
    for wrong in (unknown, "nobody", badge(is_active=False), code):
        found = on.scan("cut", code, badge=wrong)
        assert (found.outcome, found.message) == (
            "refused",
            "That badge is not known here. Ask the supervisor.",
        )
    assert on.scan("cut", code, badge=on.badge.lower()).outcome == "recorded"


@pytest.mark.parametrize("role", [OFFICE, DISPLAY, "", "admin"])
def test_other_roles_record_nothing(on, role):
    with pytest.raises(NotAllowed) as caught:
        scan_record(delivery=on.body(on.segment(1).code, "finish"), actor=Actor("x", role), now=LATER)
    assert caught.value.status == 403
    assert Scan.objects.count() == 0


def test_a_station_scans_for_itself_only(on):
    found = on.scan("cut", on.segment(1).code, station="ROLL-1")
    assert (found.outcome, found.message) == ("refused", "Only a supervisor may scan for another station.")
    assert on.scan("cut", on.segment(1).code, station="CUT-1").outcome == "recorded"


def test_a_supervisor_names_the_station(on):
    code = on.segment(1).code
    none = on.send(SUPERVISOR_HAND, on.body(code, "finish", badge=...))
    assert (none.outcome, none.message) == ("refused", "Name the station that this scan is for.")
    wrong = on.send(SUPERVISOR_HAND, on.body(code, "finish", badge=..., station="CUT-9"))
    assert (wrong.outcome, wrong.message) == ("refused", "There is no station CUT-9.")
    good = on.send(SUPERVISOR_HAND, on.body(code, "finish", badge=..., station="CUT-1"))
    assert good.outcome == "recorded"
    assert (on.task("cut", 1).station, on.task("cut", 1).badge) == ("CUT-1", "supervisor")
    assert Scan.objects.get(sequence=good.sequence).badge == "supervisor"
    assert replay(write=False).differences == []


def test_a_supervisor_may_have_a_long_name_or_give_a_long_badge(on):
    """The task keeps whom the scan names, whole: on PostgreSQL a longer one than the column fails."""
    actor = Actor("a.supervisor.with.a.long.name@example.test", SUPERVISOR)
    for position, given in ((1, ""), (2, "Whoever was there at the time, say")):
        body = on.body(on.segment(position).code, "finish", badge=given, station="CUT-1")
        assert on.send(actor, body).outcome == "recorded"
        assert on.task("cut", position).badge == (given or actor.name[:40])
    assert replay(write=False).differences == []


def test_a_station_without_work_for_the_piece(on):
    found = on.scan("ends", on.segment(1).code)
    assert (found.outcome, found.message) == ("refused", "Gore 1 of 3 has no work at ENDS-1. It is at Cut.")


# -- time ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("offset", "doubtful"),
    [
        (timedelta(0), False),
        (timedelta(minutes=2), False),
        (timedelta(minutes=2, seconds=1), True),
        (-timedelta(days=30), False),
        (-timedelta(days=30, seconds=1), True),
        (timedelta(days=4000), True),
    ],
)
def test_a_time_too_far_off_is_kept_and_flagged_but_not_used(on, offset, doubtful):
    now = NOW + timedelta(days=60)
    found = on.scan("cut", on.segment(1).code, scanned_at=(now + offset).isoformat(), now=now)
    row = Scan.objects.get(sequence=found.sequence)
    assert found.outcome == "recorded"
    assert row.is_time_doubtful is doubtful
    assert (row.scanned_at, row.received_at) == (now + offset, now)
    assert on.task("cut", 1).finished_at == (now if doubtful else min(now, now + offset))


@pytest.mark.parametrize(
    "text",
    [
        *("", None, "yesterday", "2026-03-02T09:00:00", "2026-02-30T09:00:00Z", 5, "9" * 90),
        *("9999-12-31T23:59:59-12:00", "0001-01-01T00:00:00Z", "0001-01-01T00:00:00+14:00"),
    ],
)
def test_without_a_usable_time_the_servers_counts(on, text):
    found = on.scan("cut", on.segment(1).code, scanned_at=text)
    row = Scan.objects.get(sequence=found.sequence)
    assert (found.outcome, row.scanned_at, row.is_time_doubtful) == ("recorded", None, True)
    assert on.task("cut", 1).finished_at == LATER


def test_a_late_arrival_takes_its_own_place(on):
    code = on.segment(1).code
    late = on.body(code, "finish")
    on.scan("roll", code)
    assert on.task("cut", 1).is_implied
    assert on.send(station("cut"), late, now=LATER + timedelta(days=3)).outcome == "recorded"
    cut = on.task("cut", 1)
    assert (cut.is_implied, cut.finished_at) == (False, NOW + timedelta(minutes=1))
    assert replay(write=False).differences == []


def test_an_order_ends_with_the_last_fitting_by_its_own_time_whatever_arrives_last(on):
    first, second = [on.body(one.code, "finish") for one in on.fittings]
    for body in (second, first):
        on.send(station("wrap"), body)
    assert Order.objects.get(pk=on.order.pk).ended_at == NOW + timedelta(minutes=2)
    on.scan("wrap", on.fittings[1].code, "undo")
    on.scan("wrap", on.fittings[1].code)
    assert Order.objects.get(pk=on.order.pk).ended_at == NOW + timedelta(minutes=4)
    assert replay(write=False).differences == []


def test_a_start_that_arrives_after_its_finish_gives_the_duration(on):
    code = on.segment(1).code
    start = on.body(code, "start")
    on.scan("cut", code)
    assert on.task("cut", 1).started_at is None
    on.send(station("cut"), start)
    cut = on.task("cut", 1)
    assert cut.finished_at - cut.started_at == timedelta(minutes=1)


# -- what is void ---------------------------------------------------------------------------------


def test_nothing_is_recorded_on_a_cancelled_order(on):
    on.scan("cut", on.segment(1).code)
    order_cancel(number=on.order.number, actor=SUPERVISOR_HAND, now=LATER)
    now = LATER + timedelta(hours=1)
    found = on.scan("cut", on.segment(2).code, scanned_at=now.isoformat(), now=now)
    assert (found.outcome, found.message) == ("refused", "Gore 2 of 3 is void. Do not make it.")
    assert replay(write=False).differences == []


def test_a_scan_from_before_the_cancelling_still_counts(on):
    early = on.body(on.segment(1).code, "finish")
    order_cancel(number=on.order.number, actor=SUPERVISOR_HAND, now=LATER)
    assert on.send(station("cut"), early, now=LATER + timedelta(hours=1)).outcome == "recorded"
    assert on.task("cut", 1).state == "done"
    assert on.segment(1).state == "void"
    assert replay(write=False).differences == []


# -- the record itself -----------------------------------------------------------------------------


def test_sequences_have_no_gaps_and_refused_scans_have_one_too(on):
    on.scan("cut", on.segment(1).code)
    on.scan("cut", on.segment(1).code)
    on.scan("cut", "garbage")
    on.scan("cut", on.segment(2).code)
    assert list(Scan.objects.order_by("sequence").values_list("sequence", "outcome")) == [
        (1, "recorded"),
        (2, "refused"),
        (3, "refused"),
        (4, "recorded"),
    ]
    assert Pulse.objects.get().sequence == Scan.objects.aggregate(last=Max("sequence"))["last"] == 4


def test_the_board_version_moves_with_what_changes_and_not_with_what_is_refused(on):
    before = Pulse.objects.get().version
    on.scan("cut", "garbage")
    assert Pulse.objects.get().version == before
    on.scan("cut", on.segment(1).code)
    assert Pulse.objects.get().version == before + 1


def test_every_sentence_is_short_and_plain(on):
    """Whatever is scanned wherever, in a floor where everything goes wrong."""
    chance = random.Random(3)
    codes = [one.code for one in Segment.objects.all()] + [one.code for one in on.fittings] + [on.traveler]
    for _ in range(120):
        operation = chance.choice(["cut", "roll", "seam", "assemble", "ends", "wrap"])
        action = chance.choice(["start", "finish", "finish", "hold", "resume", "scrap", "undo"])
        found = on.scan(operation, chance.choice(codes), action, reason="Stain")
        assert is_plain(found.message), found.message
        codes = sorted({*codes, *Segment.objects.values_list("code", flat=True)})
    assert replay(write=False).differences == []
    assert len(set(Scan.objects.values_list("reason_code", flat=True))) > 5
