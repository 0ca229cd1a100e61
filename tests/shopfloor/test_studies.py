"""What if, from the question to the answer: the floor as it is read, what is refused, the worker, the pages."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from fittings.models import Order
from shared.jobs import Run, job_of, work_once
from shared.models import Job
from shared.problems import NotFound, WrongInput
from shared.roles import SUPERVISOR, Actor
from shopfloor.floor_now import VARIATION, floor_now
from shopfloor.flow.calendar import Calendar
from shopfloor.models import Station, Study
from shopfloor.studies import (
    STUDY,
    STUDY_WORK,
    ChangeAsked,
    study_make,
    study_remove,
    study_request,
    study_stop,
)
from tests import factories
from travelers.models import Task, TaskState
from travelers.pins import pin_set
from travelers.release import order_release

pytestmark = pytest.mark.django_db

OFFICE = Actor("office", "office")
MONDAY = datetime(2026, 3, 2, 8, tzinfo=ZoneInfo("America/Chicago"))
CALENDAR = Calendar(ZoneInfo("America/Chicago"))
STATIONS = ("cut", "roll", "seam", "assemble", "ends", "wrap")


@pytest.fixture
def floor_of_six(shop):
    """A station an operation, and an order of two five-piece elbows."""
    for at, operation in enumerate(STATIONS):
        Station.objects.create(
            code=f"{operation.upper()}-1", name=operation, operations=[operation], position=at
        )
    order = factories.order(number="1042", due="2026-03-05")
    return order_release(number=order.number, actor=OFFICE, now=MONDAY)


def asked(**changes) -> Study:
    given = {"name": "A second roll", "asked": ChangeAsked({"roll": 1}), "days": 3, "runs": 5}
    return study_request(**given | changes, actor=OFFICE, now=MONDAY)


# -- the floor as it is ------------------------------------------------------------


def test_open_work_becomes_jobs_with_the_times_of_the_record(floor_of_six):
    found = floor_now(CALENDAR, now=MONDAY)
    assert [bench.code for bench in found.floor.benches] == [f"{one.upper()}-1" for one in STATIONS]
    assert found.floor.variation == dict.fromkeys(STATIONS, VARIATION)
    assert len(found.jobs) == floor_of_six.fittings.count()
    job = found.jobs[0]
    fitting = floor_of_six.fittings.order_by("pk").first()
    assert job.key == f"{fitting.pk}" and job.order == "1042"
    minutes = sum(Task.objects.filter(fitting=fitting).values_list("minutes", flat=True))
    hours = sum(step.hours for steps in (*job.segments, job.whole) for step in steps)
    assert hours * 60 == pytest.approx(minutes)
    assert [step.operation for step in job.segments[0]] == ["cut", "roll", "seam"]
    assert job.due == pytest.approx(6.75 + 3 * 7.75), "Monday 8:00 to Thursday 15:30, the breaks left out"


def test_what_is_done_is_left_out_and_what_is_in_work_has_its_rest(floor_of_six):
    first = Task.objects.filter(operation="cut").order_by("pk").first()
    Task.objects.filter(pk=first.pk).update(state=TaskState.DONE)
    second = Task.objects.filter(operation="cut").order_by("pk")[1]
    Task.objects.filter(pk=second.pk).update(
        state=TaskState.RUNNING, minutes=90, started_at=MONDAY - timedelta(minutes=30)
    )
    job = floor_now(CALENDAR, now=MONDAY).jobs[0]
    assert [step.operation for step in job.segments[0]] == ["roll", "seam"]
    assert job.segments[1][0].hours == pytest.approx(1.0)


def test_what_the_supervisor_put_first_is_first(floor_of_six):
    assert not any(job.is_pinned for job in floor_now(CALENDAR, now=MONDAY).jobs)
    pin_set(number="1042", line=1, actor=Actor("lead", SUPERVISOR), now=MONDAY)
    assert all(job.is_pinned for job in floor_now(CALENDAR, now=MONDAY).jobs)


def test_limits_of_stations_say_who_can_do_it_and_no_limit_says_all(floor_of_six):
    assert floor_now(CALENDAR, now=MONDAY).jobs[0].segments[0][1].benches is None
    Station.objects.create(code="ROLL-2", name="Small roll", operations=["roll"], diameter_most_in=10)
    (step,) = [one for one in floor_now(CALENDAR, now=MONDAY).jobs[0].segments[0] if one.operation == "roll"]
    assert step.benches == {"ROLL-1"}, "the elbows are larger"


def test_operations_that_nobody_does_are_left_out_and_named(floor_of_six):
    Station.objects.filter(code="SEAM-1").update(is_active=False)
    found = floor_now(CALENDAR, now=MONDAY)
    assert found.nobody == ("seam",)
    assert all(step.operation != "seam" for job in found.jobs for steps in job.segments for step in steps)


def test_what_came_lately_is_what_will_come(floor_of_six):
    found = floor_now(CALENDAR, now=MONDAY + timedelta(days=1))
    (recipe,) = found.recipes
    line = floor_of_six.lines.get()
    assert recipe.fittings == line.quantity
    assert recipe.slack == pytest.approx(6.75 + 3 * 7.75)
    worked = CALENDAR.hours_between(MONDAY - timedelta(days=27), MONDAY + timedelta(days=1))
    assert found.per_hour == pytest.approx(line.quantity / worked)
    assert floor_now(CALENDAR, now=MONDAY + timedelta(days=40)).recipes == ()


# -- asking ------------------------------------------------------------------------


def test_a_question_is_kept_under_its_own_name(floor_of_six):
    study = asked(name="  Two rolls,  no Saturday ")
    assert Study.objects.get(pk=study.pk).name == "Two rolls, no Saturday"


def test_a_question_waits_for_a_worker_and_keeps_its_answer(floor_of_six):
    study = asked()
    assert (study.state, study.asked_by) == (Study.State.MAKING, "office")
    assert work_once({STUDY: STUDY_WORK}, worker="test")
    study.refresh_from_db()
    assert study.state == Study.State.MADE and study.result["runs"] == 5
    assert set(study.result["measures"]) >= {"fittings", "lead", "there", "late", "waiting roll", "busy wrap"}
    busy = study.result["measures"]["busy roll"]
    assert busy["then"][0] == pytest.approx(busy["now"][0] / 2, rel=0.2), "two rolls share the work of one"
    assert study.result["open_fittings"] == floor_of_six.fittings.count()
    assert study.result["relief"]["operation"] in STATIONS
    assert job_of(STUDY, f"{study.pk}").state == Job.State.DONE


@pytest.mark.parametrize(
    "wrong, field, words",
    [
        ({"name": " "}, "name", "Enter a name of 1 to 60 characters."),
        ({"name": "x" * 61}, "name", "Enter a name of 1 to 60 characters."),
        ({"days": 0}, "days", "Working days can be 1 to 30, not 0."),
        ({"runs": 1000}, "runs", "Runs can be 5 to 200, not 1000."),
        ({"asked": ChangeAsked({"roll": 9})}, "benches.roll", "at Roll can be -5 to 5, not 9."),
        ({"asked": ChangeAsked({"weld": 1})}, "benches.weld", "There is no operation weld."),
        ({"asked": ChangeAsked(caps={"roll": 0})}, "caps.roll", "The cap at Roll can be 1 to 5000, not 0."),
        ({"asked": ChangeAsked(people=0)}, "people", "People at work can be 1 to 200, not 0."),
        ({"asked": ChangeAsked(longer=13)}, "longer", "Hours a day can be -12 to 12, not 13."),
        ({"asked": ChangeAsked(inflow=301)}, "inflow", "New work can be 0 to 300, not 301."),
        ({"asked": ChangeAsked(mix={"pipe": 301})}, "mix.pipe", "New work of Pipe can be 0 to 300, not 301."),
        ({"asked": ChangeAsked(mix={"bell": 50})}, "mix.bell", "There is no kind bell."),
        ({"asked": ChangeAsked(rule="luck")}, "rule", "The rule can be next piece or oldest."),
        ({"asked": ChangeAsked({"roll": 1}, times="guessed")}, "times", "can be standard or measured."),
        ({"asked": ChangeAsked()}, "change", "Change at least one thing."),
        ({"asked": ChangeAsked(times="measured")}, "change", "Change at least one thing."),
    ],
)
def test_wrong_questions_are_refused_and_nothing_is_kept(floor_of_six, wrong, field, words):
    with pytest.raises(WrongInput) as caught:
        asked(**wrong)
    (error,) = caught.value.errors
    assert error.field == field and words in error.message
    assert not Study.objects.exists() and not Job.objects.filter(kind=STUDY).exists()


def test_no_station_left_is_said(floor_of_six):
    study = asked(asked=ChangeAsked({"roll": -1}))
    assert work_once({STUDY: STUDY_WORK}, worker="test")
    study.refresh_from_db()
    assert (study.state, study.message) == (Study.State.FAILED, "No station would be left for roll.")


def test_work_that_only_the_removed_station_takes_is_said(floor_of_six):
    Station.objects.filter(code="ROLL-1").update(diameter_most_in=10, position=1)
    Station.objects.create(code="ROLL-2", name="Large roll", operations=["roll"], position=9)
    study = asked(asked=ChangeAsked({"roll": -1}))
    assert work_once({STUDY: STUDY_WORK}, worker="test")
    study.refresh_from_db()
    assert study.state == Study.State.FAILED
    assert study.message.startswith("The floor with the change cannot do the work.")
    assert "Order 1042: no bench does roll for it" in study.message


def test_an_empty_shop_has_nothing_to_simulate(shop):
    study = asked()
    assert work_once({STUDY: STUDY_WORK}, worker="test")
    study.refresh_from_db()
    assert study.state == Study.State.FAILED and "nothing to simulate" in study.message


def test_stopped_it_keeps_the_runs_so_far(floor_of_six):
    study = asked(runs=200)
    study_stop(pk=study.pk, actor=OFFICE, now=MONDAY)
    assert work_once({STUDY: STUDY_WORK}, worker="test")
    study.refresh_from_db()
    assert study.state == Study.State.MADE and study.result["runs"] == 5


def test_removed_while_it_is_made_it_is_gone(floor_of_six):
    study = asked()
    study_remove(pk=study.pk, actor=OFFICE, now=MONDAY)
    assert not work_once({STUDY: STUDY_WORK}, worker="test"), "its job is cancelled"
    assert not Study.objects.exists()
    with pytest.raises(NotFound):
        study_remove(pk=study.pk, actor=OFFICE, now=MONDAY)


def test_killed_before_its_end_it_is_made_again(floor_of_six):
    study = asked()

    def killed(run: Run) -> None:
        run.finish = lambda words="": (_ for _ in ()).throw(SystemExit)
        study_make(run)

    with pytest.raises(SystemExit):
        work_once({STUDY: killed}, worker="first")
    study.refresh_from_db()
    assert study.state == Study.State.MAKING and study.result is None
    later = timezone.now() + timedelta(minutes=5)
    assert work_once({STUDY: STUDY_WORK}, worker="second", now=lambda: later)
    study.refresh_from_db()
    assert study.state == Study.State.MADE


# -- pages --------------------------------------------------------------------------


def test_the_pages_ask_show_and_remove(floor_of_six, signed_in):
    client = signed_in("office")
    page = client.get("/what-if/").content.decode()
    assert "The bottleneck is" in page and "Nothing asked yet" in page
    fields = {"name": "Third welder", "benches_seam": "1", "inflow": "100", "rule": "next piece", "days": "2"}
    fields |= {"times": "standard"}
    answer = client.post("/what-if/", fields | {"runs": "20"})
    study = Study.objects.get()
    assert (answer.status_code, answer.url) == (302, f"/what-if/{study.pk}/")
    assert "Being made" in client.get(answer.url).content.decode()
    assert "In the queue" in client.get(f"{answer.url}progress/").content.decode()
    assert work_once({STUDY: STUDY_WORK}, worker="test")
    assert client.get(f"{answer.url}progress/")["HX-Refresh"] == "true"
    page = client.get(answer.url).content.decode()
    assert "Seam: 1 station more" in page and "Fittings finished a day" in page and " ± " in page
    assert "standard times, with the usual spread of hand work, 0.4: a value from memory." in page
    assert client.post(f"{answer.url}remove/").url == "/what-if/"
    assert not Study.objects.exists()


def test_the_mix_is_asked_by_the_kinds_that_came_and_said_with_the_answer(floor_of_six, signed_in):
    """The one kind that came is left out: nothing new comes, and the floor that might be has less to do."""
    assert 'name="mix_' not in signed_in("office").get("/what-if/").content.decode(), "none came lately"
    Order.objects.update(released_at=timezone.now() - timedelta(days=3))
    client = signed_in("office")
    page = client.get("/what-if/").content.decode()
    assert 'name="mix_gored_elbow"' in page and 'name="mix_wye"' not in page
    fields = {"name": "No elbows", "mix_gored_elbow": "0", "inflow": "300", "rule": "next piece", "days": "5"}
    answer = client.post("/what-if/", fields | {"times": "standard", "runs": "20"})
    assert work_once({STUDY: STUDY_WORK}, worker="test")
    study = Study.objects.get()
    assert study.change["mix"] == {"gored_elbow": 0}
    busy = study.result["measures"]["busy roll"]
    assert busy["then"][0] < busy["now"][0]
    assert (
        "Gored elbow: 0 % of the lines that came in the last four weeks"
        in client.get(answer.url).content.decode()
    )


def test_the_page_says_that_stations_come_first(shop, signed_in):
    client = signed_in("supervisor")
    assert "No station yet" in client.get("/what-if/").content.decode()
    Station.objects.create(code="CUT-1", name="Table", operations=["cut"])
    assert "No station yet" not in client.get("/what-if/").content.decode()


def test_a_wrong_field_is_named_on_the_page_and_what_was_typed_stays(floor_of_six, signed_in):
    client = signed_in("supervisor")
    fields = {
        "name": "Roll",
        "benches_roll": "9",
        "inflow": "100",
        "rule": "next piece",
        "times": "standard",
        "days": "2",
        "runs": "20",
    }
    answer = client.post("/what-if/", fields)
    page = answer.content.decode()
    assert answer.status_code == 400 and "Roll: stations more can be −5 to 5." in page and 'value="9"' in page
    unchanged = client.post("/what-if/", fields | {"benches_roll": ""})
    assert unchanged.status_code == 400 and "Change at least one thing." in unchanged.content.decode()
    assert not Study.objects.exists()


@pytest.mark.parametrize("role, status", [("office", 200), ("supervisor", 200), ("display", 200)])
def test_what_the_figures_mean_is_said_with_the_codes_own_numbers(shop, signed_in, role, status):
    answer = signed_in(role).get("/board/figures/")
    page = answer.content.decode()
    assert answer.status_code == status
    for words in ("on from hours ÷ clears ≥ 1, off below 0.8", "of n = 60 runs", "L = λ W", "= 0.4"):
        assert words in page


def test_times_are_aware(floor_of_six):
    assert asked().asked_at.astimezone(UTC) == MONDAY.astimezone(UTC)
