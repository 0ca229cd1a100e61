"""A customer's address, name and history; two that are the same made one, with all that hangs on them."""

from __future__ import annotations

import pytest

from fittings import tables
from fittings.cost_tables import CUSTOMER_PRICES, terms_of
from fittings.costing import Terms
from fittings.customer_merge import customer_merge, merge_show
from fittings.customers import customer_named
from fittings.favourites import favourite_keep
from fittings.models import ColumnMatch, Customer, CustomerChange, Order
from fittings.services import customer_create, customer_update, table_change
from shared.problems import Conflict, NotFound, WrongInput
from tests import factories
from tests.factories import NOW, OFFICE_ACTOR
from tests.pages import alert_of, browser_of, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("shop")]
ADDRESS = "12 Invented Road\nExample City, EX 00000"


def made(name: str, **values) -> Customer:
    return customer_create(data={"name": name, **values}, actor=OFFICE_ACTOR, now=NOW)


def changed(customer: Customer, **values) -> Customer:
    return customer_update(customer_id=customer.pk, data=values, actor=OFFICE_ACTOR, now=NOW)


def priced(*rows: tuple[str, str, str]) -> None:
    """The table of the prices of customers: name, list, discount."""
    data = [
        {"customer": name, "price_list": prices, "discount_pct": pct, "source": "invented"}
        for name, prices, pct in rows
    ]
    seen = tables.versions_in_force()[CUSTOMER_PRICES]
    table_change(
        name=CUSTOMER_PRICES, data={"rows": data, "version": seen, "note": ""}, actor=OFFICE_ACTOR, now=NOW
    )


def terms(name: str) -> Terms:
    return terms_of(name, tables.rows(CUSTOMER_PRICES))


def price_names() -> list[str]:
    return [row["customer"] for row in tables.rows(CUSTOMER_PRICES)]


def merged(stays: Customer, goes: Customer, **asked):
    return customer_merge(stays=stays.pk, goes=goes.pk, actor=OFFICE_ACTOR, now=NOW, **asked)


# -- address, name, history ------------------------------------------------------


def test_an_address_is_kept_a_line_a_line_and_its_change_is_in_the_history():
    one = made("Sample Air", address="12  Invented Road \n\n Example City, EX 00000")
    assert one.address == ADDRESS
    changed(one, address="13 Invented Road")
    (change,) = CustomerChange.objects.filter(customer=one)
    assert change.fields == {"address": [ADDRESS, "13 Invented Road"]}
    assert (change.made_by, change.made_at) == ("office", NOW)


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("a\nb\nc\nd\ne", "Address has 5 lines; it can have at most 4 lines."),
        ("x" * 201, "Address has 201 characters; it can be a text of 0 to 200 characters."),
        ("Road\x07", "without control characters"),
    ],
)
def test_an_address_that_cannot_be_is_refused_and_nothing_changes(address, says):
    one = made("Sample Air", address=ADDRESS)
    with pytest.raises(WrongInput, match="address|Address") as refused:
        changed(one, name="Other Air", address=address)
    assert says in " ".join(error.message for error in refused.value.errors)
    one.refresh_from_db()
    assert (one.name, one.address) == ("Sample Air", ADDRESS)


def test_a_renamed_customer_keeps_its_prices_and_is_found_by_the_old_name():
    one = made("Sample Air")
    priced(("sample air", "trade", "7.5"), ("Other Air", "standard", "1"))
    before = terms("Sample Air")
    changed(one, name="Sample Air and Duct")
    assert terms("Sample Air and Duct") == before != terms("Sample Air")
    assert price_names() == ["Sample Air and Duct", "Other Air"]
    order = factories.order(customer="SAMPLE AIR")
    assert order.customer_id == one.pk and Customer.objects.filter(name__iexact="sample air").count() == 0


def test_another_customer_may_take_a_former_name_and_has_it_then():
    one = made("Sample Air")
    changed(one, name="Specimen Air")
    two = made("Sample Air")
    assert customer_named("sample air") == two
    changed(two, name="Pretend Air")
    assert customer_named("sample air") == two


def test_a_name_that_the_price_table_gives_to_another_row_is_refused():
    one = made("Sample Air")
    priced(("Sample Air", "trade", "5"), ("Specimen Air", "trade", "9"))
    with pytest.raises(WrongInput) as refused:
        changed(one, name="Specimen Air")
    assert "has a row for “Specimen Air”" in refused.value.errors[0].message
    one.refresh_from_db()
    assert one.name == "Sample Air" and price_names() == ["Sample Air", "Specimen Air"]


# -- merging -----------------------------------------------------------------------


@pytest.fixture
def two():
    """A customer with everything, and the same one typed otherwise."""
    stays = made("Sample Air", contact="Jo, 555 0100")
    goes = made("Sample Air Ltd", address=ADDRESS, notes="Pays late", contact="555 0199")
    factories.order(customer="Sample Air")
    for _ in range(2):
        factories.order(customer="Sample Air Ltd")
    for name, customer in (("Usual", "Sample Air"), ("usual", "Sample Air Ltd"), ("Drop", "Sample Air Ltd")):
        body = {"name": name, "customer": customer, "line": factories.line()}
        favourite_keep(data=body, actor=OFFICE_ACTOR, now=NOW)
    for customer, head, column in ((stays, "dia", "diameter"), (goes, "dia", "length"), (goes, "loc", "tag")):
        ColumnMatch.objects.create(customer=customer, head=head, column=column, said_at=NOW, said_by="office")
    return stays, goes


def test_all_goes_over_and_the_history_says_who_and_when(two):
    stays, goes = two
    merged(stays, goes)
    assert not Customer.objects.filter(name="Sample Air Ltd").exists()
    assert Order.objects.filter(customer=stays).count() == 3
    assert sorted(stays.favourites.values_list("name", flat=True)) == ["Drop", "Usual", "usual 2"]
    assert dict(stays.column_matches.values_list("head", "column")) == {"dia": "diameter", "loc": "tag"}
    stays.refresh_from_db()
    assert (stays.contact, stays.address, stays.notes) == ("Jo, 555 0100", ADDRESS, "Pays late")
    change = CustomerChange.objects.get(customer=stays)
    assert (change.made_by, change.made_at) == ("office", NOW)
    was, now = change.fields["merged"]
    assert was.startswith("Sample Air Ltd, 555 0199, 12 Invented Road") and now.endswith(
        "with 2 orders and 2 favourites"
    )
    assert factories.order(customer="sample air ltd").customer_id == stays.pk


@pytest.mark.parametrize(
    ("rows", "asked", "left"),
    [
        ([("Sample Air", "trade", "5")], "", ("trade", "5")),
        ([("Sample Air Ltd", "trade", "9")], "", ("trade", "9")),
        ([("Sample Air", "trade", "5"), ("Sample Air Ltd", "trade", "5")], "", ("trade", "5")),
        ([("Sample Air", "trade", "5"), ("Sample Air Ltd", "trade", "9")], "stays", ("trade", "5")),
        ([("Sample Air", "trade", "5"), ("Sample Air Ltd", "trade", "9")], "goes", ("trade", "9")),
    ],
)
def test_one_price_row_is_left(two, rows, asked, left):
    priced(("Other Air", "standard", "1"), *rows)
    merged(*two, prices=asked)
    mine = [row for row in tables.rows(CUSTOMER_PRICES) if row["customer"] != "Other Air"]
    assert [(row["customer"], row["price_list"], row["discount_pct"]) for row in mine] == [
        ("Sample Air", *left)
    ]


def test_differing_prices_are_asked_about_and_nothing_is_done_without_an_answer(two):
    stays, goes = two
    priced(("Sample Air", "trade", "5"), ("Sample Air Ltd", "trade", "9"))
    assert merge_show(stays=stays.pk, goes=goes.pk).asks_prices
    with pytest.raises(WrongInput, match="prices of their own") as refused:
        merged(stays, goes)
    assert [error.field for error in refused.value.errors] == ["prices"]
    assert goes.orders.count() == 2 and len(price_names()) == 2


def test_what_moved_since_it_was_shown_is_shown_again(two):
    stays, goes = two
    seen = merge_show(stays=stays.pk, goes=goes.pk).seen
    factories.order(customer="Sample Air Ltd")
    with pytest.raises(Conflict, match="was changed since"):
        merged(stays, goes, seen=seen)
    assert goes.orders.count() == 3


def test_one_cannot_be_merged_with_itself_or_with_nobody(two):
    stays, _ = two
    with pytest.raises(WrongInput, match="same customer"):
        merged(stays, stays)
    with pytest.raises(NotFound):
        customer_merge(stays=stays.pk, goes=99999, actor=OFFICE_ACTOR, now=NOW)


# -- page and API ---------------------------------------------------------------------


def test_the_page_shows_both_then_makes_one(two):
    stays, goes = two
    priced(("Sample Air", "trade", "5"), ("Sample Air Ltd", "trade", "9"))
    page = browser_of("office")
    address = f"/customers/{stays.pk}/merge/"
    assert "no customer “Nobody”" in alert_of(page.get(address, {"other": "Nobody"}))
    shown = page.get(address, {"other": goes.name})
    text = text_of(shown)
    assert "List trade, discount 9 %" in text and "3, open 3" in text and "Prices from now on" in text
    seen = shown.context["merge"].seen
    refused = page.post(address, {"other": goes.name, "seen": seen})
    assert refused.status_code == 400 and "Say which they have" in alert_of(refused)
    done = page.post(address, {"other": goes.name, "seen": seen, "prices": "goes"}, follow=True)
    assert "Sample Air Ltd is merged into Sample Air." in text_of(done)
    assert "Merged: Sample Air Ltd" in text_of(done)


def test_a_program_shows_and_makes_it(two, office):
    stays, goes = two
    address = f"customers/{stays.pk}/merge/"
    shown = office.post(address, {"other": goes.pk, "dry_run": True})
    assert shown.status_code == 200
    assert (shown.json()["goes"]["orders"], shown.json()["dry_run"]) == (2, True)
    assert Customer.objects.filter(pk=goes.pk).exists()
    made_one = office.post(address, {"other": goes.pk, "seen": shown.json()["seen"]})
    assert made_one.status_code == 200 and not Customer.objects.filter(pk=goes.pk).exists()
    one = office.get(f"customers/{stays.pk}/").json()
    assert one["address"] == ADDRESS
    again = office.post(address, {"other": "x"})
    assert again.status_code == 400 and again.json()["errors"][0]["field"] == "other"
