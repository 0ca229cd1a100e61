"""What every page knows: who is signed in, the way to the other pages, the shop's name."""

from django.db import DatabaseError
from django.urls import NoReverseMatch, reverse

from fittings.tables import rows
from shared.problems import NotFound
from shared.roles import DISPLAY, OFFICE, OPERATOR, SUPERVISOR
from shopfloor.first_steps import guide_to_remind

PAGES = (
    ("orders", "Orders", {OFFICE, SUPERVISOR}),
    ("cut_plans", "Cut plans", {OFFICE, SUPERVISOR}),
    ("pattern_desk", "Pattern desk", {OFFICE, SUPERVISOR}),
    ("stock", "Stock", {OFFICE, SUPERVISOR}),
    ("customers", "Customers", {OFFICE}),
    ("costs", "Costs", {OFFICE}),
    ("where", "Where", {OFFICE, SUPERVISOR, OPERATOR}),
    ("board", "Board", {OFFICE, SUPERVISOR, DISPLAY}),
    ("flow", "Flow", {OFFICE, SUPERVISOR}),
    ("what_if", "What if", {OFFICE, SUPERVISOR}),
    ("floor_plan", "Floor plan", {OFFICE, SUPERVISOR}),
    ("station", "Station", {OPERATOR}),
    ("stations", "Stations", {SUPERVISOR}),
    ("exceptions", "Needs eyes", {SUPERVISOR}),
    ("settings", "Settings", {OFFICE, SUPERVISOR}),
)
BELOW = {"settings": ("/tables/", "/operations/", "/measured-times/", "/first-steps/")}
"""Addresses elsewhere that a page of the way leads to."""

REMINDED_AT = ("/orders/", "/stations/", "/settings/")


def page(request) -> dict:
    actor = getattr(request, "actor", None)
    links = []
    for name, label, roles in PAGES if actor else ():
        if actor.role in roles:
            try:
                url = reverse(name)
            except NoReverseMatch:
                continue
            current = request.path.startswith((url, *BELOW.get(name, ())))
            links.append({"url": url, "label": label, "current": current})
    return {
        "actor": actor,
        "nav": links,
        "shop_name": shop_name(),
        "account_url": reverse("own_password") if actor and actor.role != OPERATOR else "",
        "reminder": "shopfloor/_first_steps_left.html",
        "first_steps": _first_steps(request, actor),
        "sign_in_url": reverse("sign_in"),
        "sign_out_url": reverse("sign_out"),
        "where_url": reverse("where"),
        "find_url": reverse("find") if actor and actor.role in (OFFICE, SUPERVISOR) else "",
    }


def _first_steps(request, actor):
    """The guide on the pages that the day begins with, while something of it is left."""
    return guide_to_remind(actor) if request.path in REMINDED_AT else None


def shop_name() -> str:
    """The shop's name as its table has it; empty before the shop is set up."""
    try:
        return next((row["value"] for row in rows("shop") if row["key"] == "name"), "")
    except (NotFound, DatabaseError):
        return ""
