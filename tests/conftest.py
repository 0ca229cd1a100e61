"""The few fixtures that all tests share. `tests/` is on the path of every test: `from tests import factories`."""

import json
import os
import shutil
import sys
from collections import Counter

import pytest
from django.utils import timezone
from hypothesis import HealthCheck
from hypothesis import settings as property_settings

from fittings import cut_outlines, selectors, tables
from fittings.intake import services as intake
from tests.cases import cases

os.environ.setdefault("DJANGO_ALLOW_ASYNC_UNSAFE", "true")
# a busy machine is slow; a property is no less true for it
property_settings.register_profile(
    "suite", deadline=None, max_examples=cases(100), suppress_health_check=[HealthCheck.too_slow]
)
property_settings.load_profile("suite")

BROWSERS = ("/usr/bin/chromium", "chromium-browser", "google-chrome")
ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def chromium():
    """Headless Chromium, one for all tests. Without it they are skipped, or fail where all are required."""
    found = next((path for path in map(shutil.which, BROWSERS) if path), None)
    if found is None:
        reason = f"no Chromium (Debian package: chromium): looked for {', '.join(BROWSERS)}"
        if os.environ.get("SHOPFLOOR_REQUIRE_ALL") == "1":
            pytest.fail(reason)
        pytest.skip(reason)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=ARGUMENTS)
        yield browser
        browser.close()


def pytest_terminal_summary(terminalreporter, config):
    """What did not run, and what is to be installed for it to run."""
    skipped = terminalreporter.stats.get("skipped", [])
    reasons = Counter(one.longrepr[2].removeprefix("Skipped: ") for one in skipped)
    lines = [f"{count} tests: {reason}" for reason, count in reasons.most_common()]
    is_whole = config.args == ["tests"] and not (config.option.keyword or config.option.markexpr)
    if is_whole and not os.environ.get("DATABASE_URL"):
        lines.append(
            "anything on PostgreSQL: DATABASE_URL is not set. With the Debian package: postgresql, "
            "`.ci/with_postgres python3 manage.py test` runs all of it there"
        )
    for line in lines:
        terminalreporter.write_line(f"Not run: {line}.")


@pytest.fixture(autouse=True)
def _forget_table_rows():
    """Rows of table versions are kept in memory by id; a rolled-back test gives the same id out again."""
    from travelers import prices  # models can be loaded only once the apps are there

    kept = (
        tables._rows_of,
        selectors._rows_of,
        selectors._warnings_once,
        cut_outlines._development,
        prices._expected_once,
        intake._developed,
        prices._rows_once,
    )
    for memory in kept:
        memory.cache_clear()
    yield
    for memory in kept:
        memory.cache_clear()


@pytest.fixture
def shop(db):
    """A shop that can take orders: tables, operations, code series, pulse."""
    from travelers.setup import shop_set_up

    shop_set_up(now=timezone.now())


@pytest.fixture
def live_shop(transactional_db):
    """The same for tests with threads, which commit."""
    from travelers.setup import shop_set_up

    shop_set_up(now=timezone.now())


class ApiCaller:
    """Calls the API as a program does: JSON in, status and JSON out."""

    def __init__(self, client, key: str = ""):
        self.client = client
        self.headers = {"HTTP_AUTHORIZATION": f"Token {key}"} if key else {}

    def call(self, method: str, path: str, body=None, *, raw: bytes | None = None, **headers):
        data = raw if raw is not None else b"" if body is None else json.dumps(body).encode()
        extra = self.headers | {f"HTTP_{name.upper()}": value for name, value in headers.items()}
        return self.client.generic(method, f"/api/v1/{path}", data, content_type="application/json", **extra)

    def get(self, path: str, **headers):
        return self.call("GET", path, **headers)

    def post(self, path: str, body=None, **headers):
        return self.call("POST", path, body, **headers)

    def patch(self, path: str, body=None, **headers):
        return self.call("PATCH", path, body, **headers)

    def put(self, path: str, body=None, **headers):
        return self.call("PUT", path, body, **headers)

    def delete(self, path: str, **headers):
        return self.call("DELETE", path, **headers)


@pytest.fixture
def api_as(shop):
    """`api_as("office")`: an ApiCaller with a key of that role; `api_as("")` is nobody."""
    from django.test import Client

    from tests.factories import key_for

    return lambda role: ApiCaller(Client(raise_request_exception=False), key_for(role) if role else "")


@pytest.fixture
def office(api_as):
    return api_as("office")


@pytest.fixture
def browse(shop):
    """`browse("office")`: a browser with someone of that role signed in; "" is nobody."""
    from tests.pages import browser_of

    return browser_of


@pytest.fixture
def office_page(browse):
    return browse("office")


def pytest_runtest_logreport(report):
    """A failure is named as it happens: the whole run takes long."""
    if report.failed and "PYTEST_XDIST_WORKER" not in os.environ:
        print(f"\nfailed: {report.nodeid} ({report.when})\n{report.longreprtext[-2000:]}", file=sys.stderr)
