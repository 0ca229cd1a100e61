"""What people type stays text: in pages, pictures, answers, file names, headers and searches."""

from __future__ import annotations

import re
from urllib.parse import quote
from xml.etree import ElementTree

import pytest

from fittings.models import Order
from shared.roles import OPERATOR
from tests import factories
from tests.poisoned import MARK, PAYLOAD, poison
from travelers.models import Scan

from .access_table import SUPPORT, WHO, example, examples, table_rows
from .test_access_table import browser, program

RAW = f"<{MARK}"
NAMES = re.compile(r'(inline|attachment); filename="[A-Za-z0-9 ._-]+"')
SEARCHES = (
    "/orders/?q={}",
    "/orders/?state={}",
    "/where/?q={}",
    "/stock/?q={}",
    "/customers/?q={}",
    "/cut-plans/?q={}",
    "/cut-plans/figures/?months={}",
    "/cut-plans/new/?material={}&gauge=24",
    "/pattern-desk/?kind={}",
    "/sign-in/?next={}",
    "/stations/operators/?page={}",
    "/api/v1/where/?q={}",
    "/api/v1/fittings/?q={}",
    "/api/v1/orders/?q={}",
    "/nothing/{}/",
)


@pytest.fixture
def there(shop):
    found = examples()
    poison(found)
    return found


def text_of(answer) -> str:
    content = b"".join(answer.streaming_content) if answer.streaming else answer.content
    return content.decode("utf-8", errors="replace")


def is_markup(answer) -> bool:
    return answer.get("Content-Type", "").split(";")[0] in (
        "text/html",
        "image/svg+xml",
        "application/xhtml+xml",
    )


@pytest.mark.parametrize("who", [who for who in WHO if who != "nobody"])
def test_no_page_and_no_picture_shows_typed_markup_as_markup(there, who):
    client, wrong, escaped = browser(who), [], 0
    for row in table_rows():
        if row.address == SUPPORT or "GET" not in row.methods or row.address.endswith("/stream/"):
            continue
        answer = client.get(example(row.address, there))
        if is_markup(answer):
            text = text_of(answer)
            wrong += [row.address] if RAW in text else []
            escaped += MARK in text
        elif answer.status_code == 200 and row.is_api:
            assert answer["Content-Type"].split(";")[0] not in ("text/html", "text/xml"), row.address
            assert answer["X-Content-Type-Options"] == "nosniff"
    assert wrong == []
    assert escaped >= {"office": 6, "supervisor": 9, OPERATOR: 1, "display": 1}[who], "the attack is nowhere"


@pytest.mark.parametrize("who", ["supervisor", OPERATOR, "nobody"])
@pytest.mark.parametrize(
    "asked", [PAYLOAD, "' OR 1=1 --", "%00", "../../../../etc/passwd", "\ud83d", "{{7*7}}"]
)
def test_whatever_is_searched_for_is_only_looked_for(there, who, asked):
    client = browser(who)
    for address in SEARCHES:
        url = address.format(quote(asked.encode("utf-8", errors="surrogatepass")))
        answer = client.get(url)
        assert answer.status_code in (200, 302, 400, 401, 403, 404), url
        text = text_of(answer)
        assert RAW not in text or not is_markup(answer), url
        assert not re.search(r"root:x:|Traceback|OperationalError|ProgrammingError|DataError", text), url
        if asked.startswith("'") and "?q=" in address and answer.status_code == 200:
            assert there["orders"]["number"] not in re.sub(r"<[^>]+>", " ", text), url


@pytest.mark.parametrize("who", ["supervisor", OPERATOR])
def test_names_of_files_and_other_headers_hold_nothing_typed(there, who):
    client, named = program(who), 0
    for row in table_rows():
        if row.address == SUPPORT or "GET" not in row.methods or row.address.endswith("/stream/"):
            continue
        answer = client.get(example(row.address, there))
        given = answer.get("Content-Disposition")
        if given:
            named += 1
            assert NAMES.fullmatch(given), (row.address, given)
        assert MARK not in " ".join(f"{name} {value}" for name, value in answer.items()), row.address
    assert named >= (8 if who == "supervisor" else 2)


@pytest.mark.parametrize(
    "number",
    ['1"; filename="x.exe', "1\r\nSet-Cookie: a=b", "../1", "1/2", "<b>", "=1", "1;2", "-1", "１２"],
)
def test_an_orders_number_cannot_be_an_attack_on_names_of_files(api_as, number):
    answer = api_as("office").post("orders/", factories.order_body(number=number))
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "number"
    assert not Order.objects.exists()


def test_pictures_are_well_formed_whatever_is_written_in_them(there):
    client, looked = browser("supervisor"), 0
    for row in table_rows():
        if not row.address.endswith(".svg"):
            continue
        answer = client.get(example(row.address, there))
        assert answer.status_code == 200
        root = ElementTree.fromstring(text_of(answer))
        assert [one.tag for one in root.iter() if MARK in str(one.tag) or "script" in str(one.tag)] == []
        looked += 1
    assert looked >= 2


def test_a_reason_is_kept_and_read_back_as_it_was_typed(there):
    """Escaping belongs to the page, not to the record."""
    assert PAYLOAD in set(Scan.objects.values_list("reason", flat=True))
    rows = program("supervisor").get("/api/v1/scans/").json()["results"]
    assert PAYLOAD in {row["reason"] for row in rows}


@pytest.mark.parametrize("typed", ["Line one\nLine two", "a\0b", "\x1b[31mred", "a\r\nX-Header: 1", "\ud83d"])
def test_control_characters_do_not_get_into_tags(api_as, typed):
    answer = api_as("office").post("orders/", factories.order_body(lines=[factories.line(tag=typed)]))
    if answer.status_code == 201:
        assert Order.objects.get().lines.get().tag == " ".join(typed.split())
    else:
        assert answer.status_code == 400
    for tag in Order.objects.values_list("lines__tag", flat=True):
        assert tag.isprintable()


@pytest.mark.parametrize(
    "path",
    [
        "/static/../manage.py",
        "/static/%2e%2e/manage.py",
        "/static/..%2fshopfloor/settings.py",
        "/data/secret_key",
    ],
)
def test_no_file_beside_the_static_ones_is_served(there, path):
    answer = browser("supervisor").get(path)
    assert answer.status_code == 404
    assert "DJANGO_SETTINGS_MODULE" not in text_of(answer)
