"""A real browser against a real server. The browser itself is in `tests/conftest.py`."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, date, datetime, timedelta

import pytest
from playwright.sync_api import Error, expect

PATIENCE_MS = 15_000  # of an expectation: a busy machine is slow; what holds is seen at once
expect.set_options(timeout=PATIENCE_MS)
TABLET = {"width": 1180, "height": 820}
OFFICE = {"width": 1440, "height": 900}
PASSWORD = "round ducts all day"


@pytest.fixture
def open_browser(chromium, live_server):
    """Opens a fresh browser profile of a size; the test fails on an error of its script or content policy."""
    contexts, wrong = [], []

    def note(message):
        if message.type == "error" and "Failed to load resource" not in message.text:
            wrong.append(message.text)

    def make(size=OFFICE, *, browser=None, **extra):
        # A page under a service worker may escape page.route, sooner or later as it takes over.
        extra.setdefault("service_workers", "block")
        context = (browser or chromium).new_context(viewport=size, base_url=live_server.url, **extra)
        context.set_default_timeout(2 * PATIENCE_MS)
        page = context.new_page()
        page.on("console", note)
        page.on("pageerror", lambda error: wrong.append(str(error)))
        contexts.append(context)
        return page

    yield make
    found = list(wrong)
    for context in contexts:
        ended(context)
    assert found == []


def ended(context) -> None:
    """Close it, so that nothing of it reaches the next test: what a page sends as it goes, an answer under way."""
    with suppress(Error):  # a test may have closed it, or its browser
        context.set_offline(True)
        for one in (*context.pages, context):
            one.unroute_all(behavior="ignoreErrors")
    context.close()


@pytest.fixture
def desk(open_browser, shop, client, live_server):
    """Opens a browser in which somebody is signed in, by the session; left out, the office."""
    from shopfloor.models import Person

    def make(name="office", **extra):
        page = open_browser(**extra)
        person = Person.objects.get(username=name)
        client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
        session = client.cookies["sessionid"].value
        page.context.add_cookies([{"name": "sessionid", "value": session, "url": live_server.url}])
        return page

    return make


@pytest.fixture
def shop(transactional_db, settings):
    """A shop with a supervisor, two operators, stations and one released order of two five-piece elbows."""
    from django.contrib.auth.hashers import PBKDF2PasswordHasher

    from fittings.numbering import take
    from fittings.orders import order_create
    from fittings.services import customer_create
    from shared.roles import Actor
    from shopfloor.models import Person, Station
    from travelers.models import Operator
    from travelers.release import order_release
    from travelers.setup import shop_set_up

    now = datetime.now(UTC)
    office = Actor("office", "office")
    shop_set_up(now=now)
    for role in ("office", "supervisor", "display"):
        person = Person(username=role, role=role)
        person.password = PBKDF2PasswordHasher().encode(PASSWORD, "salt", 1000)
        person.save()
    for code, name in zip(take(2), ("Ana Ruiz", "Ben Okafor"), strict=True):
        Operator.objects.create(code=code, name=name)
    stations = (
        ("CUT-1", "cut", True),
        ("ROLL-1", "roll", True),
        ("SEAM-1", "seam", False),
        ("WRAP-1", "wrap", True),
    )
    for position, (code, operation, one_scan) in enumerate((*stations, ("ASSEMBLE-1", "assemble", True))):
        Station.objects.create(
            code=code,
            name=code.title(),
            operations=[operation],
            one_scan_finishes=one_scan,
            position=position,
        )
    customer_create(data={"name": "Riverside Mechanical"}, actor=office, now=now)
    elbow = {
        "quantity": 2,
        "kind": "gored_elbow",
        "material": "galvanized",
        "gauge": 24,
        "params": {"diameter": 14, "angle": 90, "pieces": 5, "radius_ratio": 1.5},
        "end_a": "raw",
        "end_b": "raw",
        "tag": "AHU-3",
    }
    due = date.today() + timedelta(days=2)
    order = {"number": "1042", "customer": "Riverside Mechanical", "due": due.isoformat(), "lines": [elbow]}
    order_create(data=order, actor=office, now=now)
    order_release(number="1042", actor=office, now=now)
    return now


@pytest.fixture
def codes(shop):
    """The codes of the order's segments, in order."""
    from fittings.models import Segment

    return list(Segment.objects.order_by("fitting_id", "position").values_list("code", flat=True))


@pytest.fixture
def badges(shop):
    from travelers.models import Operator

    return dict(Operator.objects.order_by("pk").values_list("name", "code"))


@pytest.fixture
def tablet(open_browser, live_server, shop):
    """A tablet of a station with its page open, ready for scans; its clock runs, and can be moved on."""
    from django.utils import timezone

    from shopfloor.keys import TABLET_COOKIE, key_make
    from shopfloor.models import Station

    def make(code: str, *, page=None, at_a_fake_clock=False, **extra):
        _, secret = key_make(now=timezone.now(), station=Station.objects.get(code=code))
        page = page or open_browser(TABLET, **extra)
        if at_a_fake_clock:
            page.clock.install()
        cookie = {"name": TABLET_COOKIE, "value": secret, "url": live_server.url, "httpOnly": True}
        page.context.add_cookies([cookie])
        page.goto("/station/")
        page.wait_for_selector("#station[data-ready=yes]")
        return page

    return make


@pytest.fixture
def scan():
    """Types like a scanner: the keys in a burst, then Enter."""

    def wedge(page, code: str) -> None:
        page.evaluate(
            """(text) => {
                for (const key of [...text, "Enter"]) {
                    const target = document.activeElement ?? document.body;
                    target.dispatchEvent(new KeyboardEvent("keydown", {key, bubbles: true, cancelable: true}));
                }
            }""",
            code,
        )

    return wedge
