"""What every page knows: who is signed in, the way to the other pages, the shop's name."""

from django.db import DatabaseError
from django.urls import NoReverseMatch, reverse

from fittings.tables import rows
from shared.problems import NotFound
from shared.roles import DISPLAY, OFFICE, OPERATOR, SUPERVISOR

PAGES = (
    ("orders", "Orders", {OFFICE, SUPERVISOR}),
    ("pattern_desk", "Pattern desk", {OFFICE, SUPERVISOR}),
    ("customers", "Customers", {OFFICE}),
    ("where", "Where", {OFFICE, SUPERVISOR, OPERATOR}),
    ("board", "Board", {OFFICE, SUPERVISOR, DISPLAY}),
    ("station", "Station", {OPERATOR}),
    ("stations", "Stations", {SUPERVISOR}),
    ("exceptions", "Exceptions", {SUPERVISOR}),
    ("operations", "Operations", {OFFICE, SUPERVISOR}),
    ("tables", "Shop tables", {OFFICE, SUPERVISOR}),
)


def page(request) -> dict:
    actor = getattr(request, "actor", None)
    links = []
    for name, label, roles in PAGES if actor else ():
        if actor.role in roles:
            try:
                url = reverse(name)
            except NoReverseMatch:
                continue
            links.append({"url": url, "label": label, "current": request.path.startswith(url)})
    return {
        "actor": actor,
        "nav": links,
        "shop_name": shop_name(),
        "sign_in_url": reverse("sign_in"),
        "sign_out_url": reverse("sign_out"),
        "where_url": reverse("where"),
    }


def shop_name() -> str:
    """The shop's name as its table has it; empty before the shop is set up."""
    try:
        return next((row["value"] for row in rows("shop") if row["key"] == "name"), "")
    except (NotFound, DatabaseError):
        return ""
