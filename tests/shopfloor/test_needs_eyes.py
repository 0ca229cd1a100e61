"""What needs a supervisor's eyes: listed by kind, settled by a scan or a note, never by changing the record.

Ages and counts are reckoned by hand.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from shared.problems import WrongInput
from shared.roles import Actor
from shopfloor import needs_eyes
from shopfloor.models import NumberGap, Settlement
from shopfloor.needs_eyes import open_counts, open_rows, settle
from tests.pages import alert_of, text_of
from tests.travelers.floor import Floor, floor
from tests.travelers.floor import station as station_actor
from travelers.models import DeliveredFitting, Delivery, Operator, Scan, ScanMismatch, Task

from .tablets import enrolled, scan, send

SUPERVISOR = Actor("pat", "supervisor")
KINDS = ("hold", "left", "gap", "clock", "same_id", "implied")


@pytest.fixture
def on(shop) -> Floor:
    found = floor(quantity=1, pieces=5)
    Operator.objects.update(name="Ana Ruiz")
    return found


def done(on: Floor, operation: str, code: str, action: str = "finish", *, at, **changes):
    """A scan that arrives as it is made."""
    return on.scan(operation, code, action, now=at, **({"scanned_at": at.isoformat()} | changes))


def deliver(on: Floor, body: dict):
    return on.send(station_actor("cut"), body, now=timezone.now())


@pytest.fixture
def listed(signed_in):
    """`listed("hold")`: that list as the supervisor sees it."""
    client = signed_in("supervisor")
    return lambda show="", **more: client.get(reverse("exceptions"), {"show": show, **more})


@pytest.fixture
def note(signed_in):
    """Send the form: note("hold", keys, text)."""
    client = signed_in("supervisor")

    def post(kind, keys, text="Seen to."):
        return client.post(reverse("exceptions"), {"kind": kind, "item": keys, "text": text})

    return post


def ago(**span):
    return timezone.now() - timedelta(**span)


def keys_of(kind: str) -> list[str]:
    now = timezone.now()
    return [item.key for item in needs_eyes.items_of(kind, list(open_rows(kind, now=now)), now=now)]


def counts() -> dict[str, int]:
    return {kind: n for kind, n in open_counts(now=timezone.now()).items() if n}


def one_of_each(on: Floor, station) -> None:
    """A hold of 3 h, a gap of 10 min, a clock 3 h ahead, a second body, a seam that skipped cut and roll, and a fitting
    on a delivery though it is not finished, as a late undo leaves it."""
    done(on, "cut", on.segment(1).code, "hold", reason="Damaged", at=ago(hours=3))
    done(on, "seam", on.segment(2).code, at=ago(hours=2))
    now = timezone.now()
    done(on, "cut", on.segment(3).code, at=now, scanned_at=(now + timedelta(hours=3)).isoformat())
    body = on.body(on.segment(4).code, "finish") | {"scanned_at": now.isoformat()}
    deliver(on, body)
    deliver(on, body | {"code": on.segment(5).code})
    _, client = enrolled(station("CUT-9", ["cut"]), now, "Tablet by the shear")
    send(client, [scan(1), scan(4)])
    NumberGap.objects.update(noticed_at=ago(minutes=10))
    gone = Delivery.objects.create(order=on.order, number=1, made_at=ago(hours=1), made_by="office")
    DeliveredFitting.objects.create(delivery=gone, fitting=on.fitting)


# -- what is listed ---------------------------------------------------------


def test_one_of_each_kind_is_listed(on, station):
    one_of_each(on, station)
    assert counts() == dict.fromkeys(KINDS, 1) | {"clock": counts()["clock"]}


def test_holds_are_listed_by_age_with_reason_and_who(on, listed):
    done(on, "cut", on.segment(1).code, "hold", reason="Damaged", at=ago(hours=1))
    done(on, "cut", on.segment(2).code, "hold", reason="Wrong gauge", at=ago(hours=5))
    seen = listed("hold")
    assert [round(age.total_seconds() / 3600) for _, age in seen.context["items"]] == [5, 1]
    text = text_of(seen)
    assert "On hold at Cut by Ana Ruiz: Wrong gauge." in text
    assert text.index("Wrong gauge") < text.index("Damaged")
    assert f"Order {on.order.number}, AHU-3, gore 2" in text


def test_a_hold_of_the_fitting_itself_counts_from_its_scan(on, listed):
    for position in range(1, 6):
        done(on, "seam", on.segment(position).code, at=ago(hours=4))
    done(on, "assemble", on.segment(3).code, "hold", reason="Does not fit", at=ago(hours=2))
    [(item, age)] = listed("hold").context["items"]
    assert item.words == "On hold at Assemble by Ana Ruiz: Does not fit."
    assert round(age.total_seconds() / 60) == 120


def test_missed_scans_are_one_thing_per_fitting_and_later_scan(on, listed):
    done(on, "assemble", on.fitting.code, at=ago(hours=1))
    [(item, _)] = listed("implied").context["items"]
    assert item.words == "Cut ×5, Roll ×5, Seam ×5 taken as done: Assemble was scanned by Ana Ruiz."
    assert item.station == "ASSEMBLE-1"
    assert item.code == on.fitting.code


def test_a_missed_scan_of_one_piece_names_the_piece(on, listed):
    done(on, "roll", on.segment(2).code, at=ago(hours=1))
    [(item, _)] = listed("implied").context["items"]
    assert item.what == f"Order {on.order.number}, AHU-3, gore 2"
    assert item.words == "Cut taken as done: Roll was scanned by Ana Ruiz."
    assert item.code == on.segment(2).code


def test_their_own_scan_takes_missed_ones_off(on):
    done(on, "roll", on.segment(1).code, at=ago(hours=1))
    assert counts() == {"implied": 1}
    done(on, "cut", on.segment(1).code, at=ago(minutes=5))
    assert counts() == {}


def test_an_undo_of_the_later_scan_takes_missed_ones_off(on):
    done(on, "roll", on.segment(1).code, at=ago(hours=1))
    done(on, "roll", on.segment(1).code, "undo", at=ago(minutes=5))
    assert counts() == {}


def test_a_clock_that_is_off_says_by_how_much(on, listed):
    now = timezone.now()
    done(on, "cut", on.segment(1).code, at=now, scanned_at=(now + timedelta(hours=3)).isoformat())
    done(on, "cut", on.segment(2).code, at=now, scanned_at=(now - timedelta(days=31)).isoformat())
    done(on, "cut", on.segment(3).code, at=now, scanned_at="yesterday")
    text = text_of(listed("clock")).replace("\xa0", " ")
    assert "3 h ahead" in text
    assert "31 d behind" in text
    assert "The tablet gave no time that can be read." in text


def test_the_same_id_shows_both_scans(on, listed):
    body = on.body(on.segment(1).code, "finish") | {"scanned_at": timezone.now().isoformat()}
    deliver(on, body)
    deliver(on, body | {"action": "scrap"})
    [(item, _)] = listed("same_id").context["items"]
    code = on.segment(1).code
    assert item.words == (
        f"The first was finish of {code}, recorded; it holds. The second was scrap of {code}; it changed nothing."
    )


def test_a_gap_is_listed_after_five_minutes_with_its_tablet_and_both_sides(station, listed):
    _, client = enrolled(station("CUT-9", ["cut"]), timezone.now(), "Tablet by the shear")
    send(client, [scan(1, code="AA0001"), scan(4, code="AA0004"), scan(5)])
    assert counts() == {}
    NumberGap.objects.update(noticed_at=ago(minutes=6))
    [(item, _)] = listed("gap").context["items"]
    assert item.what == "Tablet by the shear: 2 scans not here"
    assert item.words.startswith(
        "Numbers 2 to 3 have not come: still on the tablet, or lost. Before: finish of AA0001"
    )
    assert "After: finish of AA0004" in item.words


def test_what_happened_more_than_30_days_ago_is_listed_no_more_but_an_old_hold_is(on):
    done(on, "cut", on.segment(1).code, "hold", reason="Damaged", at=ago(days=40))
    done(on, "roll", on.segment(2).code, at=ago(days=31))
    then = ago(days=31)
    done(on, "cut", on.segment(3).code, at=then, scanned_at=(then + timedelta(hours=3)).isoformat())
    assert counts() == {"hold": 1}


def test_the_first_list_with_anything_is_shown(on, listed):
    assert listed().context["shown"] == "hold"
    done(on, "roll", on.segment(1).code, at=ago(hours=1))
    assert listed().context["shown"] == "implied"
    assert listed("nonsense").context["shown"] == "implied"


# -- settled by a scan ------------------------------------------------------


def test_a_resume_settles_a_hold_and_is_listed_as_settled(on, listed):
    done(on, "cut", on.segment(1).code, "hold", reason="Damaged", at=ago(hours=1))
    done(on, "cut", on.segment(1).code, "resume", at=ago(minutes=5))
    assert counts() == {}
    [(one, kind)] = listed("settled").context["settled"]
    assert (kind, one.how, one.by, one.code) == (
        "On hold",
        "Resumed at CUT-1",
        "Ana Ruiz",
        on.segment(1).code,
    )


def test_a_resume_of_what_was_not_on_hold_settles_nothing(on, listed):
    done(on, "cut", on.segment(1).code, "resume", at=ago(minutes=5))
    assert listed("settled").context["settled"] == []


def test_scans_that_come_late_settle_a_gap(station, listed):
    _, client = enrolled(station("CUT-9", ["cut"]), timezone.now())
    send(client, [scan(1), scan(4)])
    NumberGap.objects.update(noticed_at=ago(minutes=6))
    send(client, [scan(2), scan(3)])
    assert counts() == {}
    [(one, kind)] = listed("settled").context["settled"]
    assert (one.what, one.how) == ("Numbers 2 to 3 of a tablet of CUT-9", "What was missing has come")


# -- settled by a note ------------------------------------------------------


@pytest.mark.parametrize("kind", KINDS)
def test_a_note_settles_and_changes_nothing_else(on, station, note, listed, kind):
    one_of_each(on, station)
    before = list(Scan.objects.values()), list(Task.objects.values()), list(ScanMismatch.objects.values())
    keys = keys_of(kind)
    assert note(kind, keys, "  Clock set,\n\n seen to. ").status_code == 302
    assert kind not in counts()
    row = Settlement.objects.filter(kind=kind).first()
    assert (row.by, row.text) == ("supervisor", "Clock set, seen to.")
    assert abs(row.at - timezone.now()) < timedelta(seconds=30)
    assert before == (
        list(Scan.objects.values()), list(Task.objects.values()), list(ScanMismatch.objects.values())
    )  # fmt: skip
    text = text_of(listed("settled"))
    assert "Note: Clock set, seen to. supervisor" in text


def test_the_same_piece_on_hold_again_needs_eyes_again(on, note):
    done(on, "cut", on.segment(1).code, "hold", reason="Damaged", at=ago(hours=3))
    note("hold", keys_of("hold"))
    assert counts() == {}
    done(on, "cut", on.segment(1).code, "resume", at=ago(hours=2))
    done(on, "cut", on.segment(1).code, "hold", reason="Damaged", at=ago(hours=1))
    assert counts() == {"hold": 1}


def test_several_are_settled_with_one_note_and_the_rest_stays(on, note):
    for position in (1, 2, 3):
        done(on, "cut", on.segment(position).code, "hold", reason="Damaged", at=ago(hours=position))
    note("hold", keys_of("hold")[:2])
    assert counts() == {"hold": 1}
    assert Settlement.objects.count() == 2


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "The note is empty; it can have 1 to 500 characters."),
        ("   \n ", "The note is empty; it can have 1 to 500 characters."),
        ("x" * 501, "The note has 501 characters; it can have 1 to 500 characters."),
        ("bell \x07 rings", "The note holds characters that cannot be printed."),
    ],
)
def test_a_note_that_cannot_be_is_refused_with_what_was_typed(on, note, text, said):
    done(on, "cut", on.segment(1).code, "hold", reason="Damaged", at=ago(hours=1))
    keys = keys_of("hold")
    answer = note("hold", keys, text)
    assert answer.status_code == 400
    assert said in alert_of(answer)
    assert f'value="{keys[0]}" checked' in answer.content.decode()
    assert not Settlement.objects.exists()


def test_500_characters_are_a_note(on, note):
    done(on, "cut", on.segment(1).code, "hold", reason="Damaged", at=ago(hours=1))
    note("hold", keys_of("hold"), "é" * 500)
    assert Settlement.objects.get().text == "é" * 500


@pytest.mark.parametrize(
    "keys",
    [
        [],
        ["1"],
        ["x y"],
        ["1 2026-03-04"],
        ["1 2026-03-04T10:00:00"],
        ["9" * 30 + " 2026-03-04T10:00:00Z"],
    ],
)
def test_what_is_ticked_must_be_what_is_listed(on, note, keys):
    answer = note("hold", keys)
    assert answer.status_code == 400
    assert alert_of(answer).removeprefix("There is a problem ") in (
        "Tick what the note is about.",
        "What is ticked cannot be read. Load the page again.",
    )


def test_an_unknown_kind_is_refused(on, note):
    done(on, "cut", on.segment(1).code, "hold", reason="Damaged", at=ago(hours=1))
    assert "Kind is everything; it can be hold, left" in alert_of(note("everything", keys_of("hold")))


def test_all_or_nothing_where_one_was_settled_meanwhile(on, note):
    for position in (1, 2):
        done(on, "cut", on.segment(position).code, "hold", reason="Damaged", at=ago(hours=position))
    keys = keys_of("hold")
    done(on, "cut", on.segment(1).code, "resume", at=ago(minutes=5))
    answer = note("hold", keys)
    assert "1 of what is ticked no longer needs eyes" in alert_of(answer)
    assert not Settlement.objects.exists()


def test_a_thing_is_settled_once(on):
    done(on, "cut", on.segment(1).code, "hold", reason="Damaged", at=ago(hours=1))
    keys, now = keys_of("hold"), timezone.now()
    settle(kind="hold", keys=keys * 2, text="One.", actor=SUPERVISOR, now=now)
    with pytest.raises(WrongInput, match="no longer needs eyes"):
        settle(kind="hold", keys=keys, text="Two.", actor=SUPERVISOR, now=now)
    assert [row.text for row in Settlement.objects.all()] == ["One."]


def test_a_note_is_shown_as_text(on, note, listed):
    done(on, "cut", on.segment(1).code, "hold", reason="<b>bold</b>", at=ago(hours=1))
    note("hold", keys_of("hold"), "<script>alert(1)</script>")
    html = listed("settled").content.decode()
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html
    assert "<script>alert" not in html


@pytest.mark.parametrize("role", ["office", "display"])
def test_only_a_supervisor_settles(on, signed_in, tablet, station, role):
    done(on, "cut", on.segment(1).code, "hold", reason="Damaged", at=ago(hours=1))
    data = {"kind": "hold", "item": keys_of("hold"), "text": "Mine."}
    for client in (signed_in(role), tablet(station())):
        assert client.post(reverse("exceptions"), data).status_code == 403
    assert not Settlement.objects.exists()


# -- pages and cost ---------------------------------------------------------


def test_each_list_is_paged_at_the_same_cost(on, listed, django_assert_max_num_queries):
    now = timezone.now()
    for number in range(60):
        ScanMismatch.objects.create(scan_id=f"id-{number}", body={"action": "finish"}, received_at=now)
        at = now - timedelta(minutes=number)
        Settlement.objects.create(
            kind="hold", item=number, since=at, what="A piece", by="pat", at=at, text="Seen."
        )
    with django_assert_max_num_queries(20):
        first = listed("same_id")
    assert len(first.context["items"]) == 50
    assert len(listed("same_id", page=2).context["items"]) == 10
    with django_assert_max_num_queries(20):
        settled = listed("settled", page=2)
    assert len(settled.context["settled"]) == 10


@pytest.mark.parametrize("kind", KINDS)
def test_a_list_takes_few_queries(on, station, listed, django_assert_max_num_queries, kind):
    one_of_each(on, station)
    with django_assert_max_num_queries(21):
        assert listed(kind).status_code == 200
