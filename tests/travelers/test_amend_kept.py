"""Kept pieces for what a change of a released order makes: offered when it is shown, used when it is made."""

from __future__ import annotations

import pytest

from fittings.models import Fitting, KeptPiece, Order
from shared.problems import WrongInput
from tests import factories
from tests.pages import browser_of, text_of
from tests.travelers import amend_desk as desk
from tests.travelers.amend_desk import at
from tests.travelers.floor import floor
from tests.travelers.kept_floor import fittings_kept, kept_holds, segments_kept
from travelers.amend_kept import change_offers
from travelers.models import Task

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]
THREE = {"quantity": 2, "params": factories.elbow_params(pieces=3)}


@pytest.fixture
def other() -> Order:
    """An order on the floor to which elbows of three pieces are added."""
    return floor(quantity=1, diameter=20).order


def added(order: Order, **changes):
    return desk.changed(order, factories.line(**THREE), now=at(600), **changes)


def ids(pieces) -> list[int]:
    return [piece.pk for piece in pieces]


def test_a_kept_segment_is_offered_and_its_work_is_not_asked_for_again(other):
    kept = segments_kept(2)
    shown = desk.shown(other, factories.line(**THREE), now=at(600))
    (offer,) = change_offers(shown)
    assert (offer.line, offer.what, offer.done, offer.of) == (2, "middle gores", "cut and rolled", 2)
    assert list(offer.ids) == ids(kept)
    added(other, use_kept=ids(kept))
    one = Fitting.objects.filter(order=other, line__position=2).order_by("number")[0]
    left = Task.objects.filter(fitting=one, segment__position=2, came_done=False)
    assert set(left.values_list("operation", flat=True)) == {"seam"}
    kept_holds()
    history = other.changes.order_by("-version")[0].fields
    assert history["kept pieces"] == ["", "1 used"]


def test_a_kept_fitting_fills_a_raised_quantity(other):
    (kept,) = fittings_kept(1)
    line = {"quantity": 1, "params": factories.elbow_params(pieces=3)}
    desk.changed(other, factories.line(**line), now=at(500))
    raised = {"line": 2, "quantity": 2}
    (offer,) = change_offers(desk.shown(other, raised, now=at(600)))
    assert (offer.what, offer.of, list(offer.ids)) == ("fittings", 1, [kept.pk])
    desk.changed(other, raised, now=at(600), use_kept=[kept.pk])
    assert Fitting.objects.filter(order=other, line__position=2, state="done").count() == 1
    order = Order.objects.get(pk=other.pk)
    assert (order.fittings_total, order.fittings_done, order.state) == (3, 1, "released")


def test_without_a_choice_nothing_is_used(other):
    segments_kept(2)
    added(other)
    assert KeptPiece.objects.get().used_at is None


def test_what_fits_nowhere_is_refused_and_nothing_changes(other):
    (kept,) = segments_kept(2)
    line = factories.line(quantity=1, params=factories.elbow_params(diameter=16, pieces=3))
    with pytest.raises(WrongInput, match="fits no place that is left"):
        desk.changed(other, line, now=at(600), use_kept=[kept.pk])
    assert Fitting.objects.filter(order=other).count() == 1
    assert Order.objects.get(pk=other.pk).version == other.version
    with pytest.raises(WrongInput, match="named twice"):
        added(other, use_kept=[kept.pk, kept.pk])


def test_the_page_offers_them_ticked_and_uses_them(other):
    (kept,) = segments_kept(2)
    page = browser_of("office")
    address = f"/orders/{other.number}/change/"
    shown = page.get(address)
    typed = {
        name: "" if form[name].value() in (None, False) else form[name].value()
        for row in shown.context["entry"].rows
        for form in [row.form]
        for name in form.fields
    }
    typed = {f"line-1-{name}": value for name, value in typed.items()}
    new = {"kind": "gored_elbow", "material": "galvanized", "gauge": "24", "end_a": "raw", "end_b": "raw"}
    new |= {"quantity": "2", "diameter": "14", "angle": "90", "pieces": "3", "radius_ratio": "1.5"}
    typed |= {f"new-0-{name}": value for name, value in new.items()}
    typed |= {"version": other.version, "added": "1"}
    seen = page.post(address, {**typed, "act": "show"})
    text = text_of(seen)
    assert "Line 2: 1 of 2 middle gores is kept, cut and rolled" in text, text[:600]
    made = page.post(
        address,
        {**typed, "act": "make", "seen": seen.context["entry"].shown.seen, "use_kept": str(kept.pk)},
        follow=True,
    )
    assert "is changed" in text_of(made)
    assert KeptPiece.objects.get().used_for.order == other


def test_a_program_is_told_of_them_and_uses_them(other, office):
    (kept,) = segments_kept(2)
    body = desk.body(other, factories.line(**THREE))
    shown = office.post(f"orders/{other.number}/change/", {**body, "dry_run": True}).json()
    assert [offer["ids"] for offer in shown["kept_offers"]] == [[kept.pk]]
    made = office.post(
        f"orders/{other.number}/change/", {**body, "seen": shown["seen"], "use_kept": [kept.pk]}
    )
    assert made.status_code == 200 and made.json()["kept_offers"] == []
    assert KeptPiece.objects.get().used_at is not None
