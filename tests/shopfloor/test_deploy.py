"""As the app is put on the floor: production settings, and what every answer says to the browser."""

from __future__ import annotations

import os
import re
import subprocess
import sys

import pytest
from django.conf import settings as app_settings
from django.test import Client
from django.urls import path

from shared.middleware import SECURE_CSP
from shared.problems import Busy, WrongInput
from shopfloor.models import Person
from shopfloor.urls import handler400, handler404, handler500, urlpatterns  # noqa: F401
from tests.pages import browser_of

from .access_table import SUPPORT, WHO, example, examples, table_rows
from .test_access_table import browser

SCRIPT = r"<script\b(?![^>]*\b(?:src=|type=.application/json))"  # data is no script
INLINE = re.compile(rf"<style\b|\sstyle=|{SCRIPT}|\son[a-z]+=|href=[\"']?\s*javascript:", re.I)
DEPLOYED = {"SHOPFLOOR_HTTPS": "1", "SHOPFLOOR_HOSTS": "shop.example", "SHOPFLOOR_DEBUG": "0"}


def check(tmp_path, **environment) -> subprocess.CompletedProcess:
    left = {
        name: value for name, value in os.environ.items() if not name.startswith(("SHOPFLOOR_", "DJANGO_"))
    }
    left |= {"SHOPFLOOR_DATA": str(tmp_path)} | environment
    command = [sys.executable, "manage.py", "check", "--deploy", "--fail-level", "WARNING"]
    return subprocess.run(
        command, cwd=app_settings.BASE_DIR, env=left, capture_output=True, text=True, timeout=120
    )


def test_check_deploy_finds_nothing_in_production(tmp_path):
    done = check(tmp_path, **DEPLOYED)
    assert done.returncode == 0, done.stderr
    assert "no issues" in done.stdout + done.stderr


def test_check_deploy_would_find_a_page_of_debugging(tmp_path):
    done = check(tmp_path, **DEPLOYED | {"SHOPFLOOR_DEBUG": "1"})
    assert done.returncode == 1
    assert "security.W018" in done.stderr


def test_secret_key_is_kept_for_its_owner_alone_and_long(tmp_path):
    check(tmp_path, **DEPLOYED)
    kept = tmp_path / "secret_key"
    assert kept.stat().st_mode & 0o777 == 0o600
    assert len(kept.read_text()) >= 50


@pytest.fixture
def behind_https(settings):
    settings.SECURE_SSL_REDIRECT = settings.BEHIND_HTTPS = True
    settings.SESSION_COOKIE_SECURE = settings.CSRF_COOKIE_SECURE = True
    settings.SECURE_HSTS_SECONDS = 3600
    settings.SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")


def test_behind_https_all_but_health_is_sent_there(shop, behind_https):
    plain, secure = Client(), Client(headers={"X-Forwarded-Proto": "https"})
    assert plain.get("/sign-in/")["Location"] == "https://testserver/sign-in/"
    assert plain.get("/api/v1/health/").status_code == 200
    answer = secure.get("/sign-in/")
    assert answer.status_code == 200
    assert answer["Strict-Transport-Security"].startswith("max-age=3600")
    assert answer.cookies["csrftoken"]["secure"]


# -- every answer -------------------------------------------------------------


def wrong_headers(answer) -> list[str]:
    """What an answer's headers lack. The policy lets nothing inline through, and frames nothing."""
    wanted = {
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "DENY",
        "Referrer-Policy": "same-origin",
    }
    wrong = [f"{name}: {answer.get(name)}" for name, value in wanted.items() if answer.get(name) != value]
    policy = dict(
        part.split(" ", 1) for part in answer.get("Content-Security-Policy", "default-src none").split("; ")
    )
    allowed = {"'self'", "'none'", "data:", "blob:"}
    for name in SECURE_CSP:
        given = set(policy.get(name, "missing").split())
        given -= {"'wasm-unsafe-eval'"} if name == "script-src" else set()
        if not given <= allowed or (name == "script-src" and given != {"'self'"}):
            wrong.append(f"{name} {policy.get(name)}")
    return wrong


def inline_parts(answer) -> list[str]:
    if answer.streaming or not answer.get("Content-Type", "").startswith("text/html"):
        return []
    return [found[0] for found in INLINE.finditer(answer.content.decode())]


@pytest.mark.parametrize("who", WHO)
def test_every_answer_has_its_headers_and_no_page_an_inline_script_or_style(shop, who):
    there, client, wrong, pages = examples(), browser(who), [], 0
    for row in table_rows():
        if row.address == SUPPORT or "GET" not in row.methods:
            continue
        answer = client.get(example(row.address, there))
        found = [*wrong_headers(answer), *inline_parts(answer)]
        wrong += [f"{row.address} as {who}: {one}" for one in found]
        pages += answer.get("Content-Type", "").startswith("text/html") and answer.status_code == 200
    assert not wrong, "\n".join(wrong)
    assert pages >= 3


def test_only_the_station_page_may_compile_its_decoder(shop):
    there, allowed = examples(), set()
    for who in WHO:
        client = browser(who)
        for row in table_rows():
            if row.address != SUPPORT and "GET" in row.methods:
                answer = client.get(example(row.address, there))
                if "wasm" in answer["Content-Security-Policy"]:
                    allowed.add(row.address)
    assert allowed == {"/station/"}


def raises(error):
    def view(request):
        raise error

    return view


urlpatterns = [
    *urlpatterns,
    path("broken/", raises(RuntimeError("a secret in a message"))),
    path("busy/", raises(Busy())),
    path("wrong/", raises(WrongInput([], "This is wrong."))),
    path("api/v1/broken/", raises(RuntimeError("a secret in a message"))),
]


@pytest.mark.urls(__name__)
@pytest.mark.parametrize(
    ("url", "status"),
    [("/broken/", 500), ("/busy/", 503), ("/wrong/", 400), ("/nothing/here/", 404), ("/stations/", 403)],
)
def test_error_pages_are_as_strict_and_tell_nothing(shop, url, status):
    client = browser_of("office", raise_request_exception=False)
    answer = client.get(url)
    assert answer.status_code == status
    assert [*wrong_headers(answer), *inline_parts(answer)] == []
    assert b"<h1>" in answer.content
    assert not re.search(rb"secret|Traceback|RuntimeError|File \"", answer.content)


@pytest.mark.urls(__name__)
def test_an_error_of_the_api_is_problem_details_and_tells_nothing(shop):
    answer = Client(raise_request_exception=False).get("/api/v1/broken/")
    assert (answer.status_code, answer["Content-Type"]) == (500, "application/problem+json")
    assert wrong_headers(answer) == []
    assert "secret" not in answer.content.decode()


def test_a_request_that_cannot_be_read_is_told_so_in_a_sentence(shop):
    fields = {f"field-{number}": "1" for number in range(app_settings.DATA_UPLOAD_MAX_NUMBER_FIELDS + 1)}
    answer = browser_of("office", raise_request_exception=False).post("/customers/new/", fields)
    assert answer.status_code == 400
    assert b"cannot be read" in answer.content
    assert [*wrong_headers(answer), *inline_parts(answer)] == []


def test_a_form_without_its_token_is_told_so_in_a_sentence(shop):
    answer = browser_of("office", enforce_csrf_checks=True).post("/customers/new/", {"name": "X"})
    assert answer.status_code == 403
    assert b"Load it again" in answer.content
    assert [*wrong_headers(answer), *inline_parts(answer)] == []


def test_support_pages_get_the_same_policy(shop):
    """The framework's own pages: what of them is inline, the browser leaves out."""
    client = browser_of("office")
    Person.objects.update(is_staff=True, is_superuser=True)
    for url in ("/admin/", "/admin/fittings/order/", "/admin/fittings/customer/add/"):
        answer = client.get(url)
        assert answer.status_code == 200
        assert wrong_headers(answer) == []
