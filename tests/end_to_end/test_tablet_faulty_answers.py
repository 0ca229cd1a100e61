"""Answers that are lost, cut off, no JSON, refusals or nothing: no scan leaves the queue without its own result."""

from __future__ import annotations

import json

import pytest
from playwright.sync_api import expect

from travelers.models import Scan, Task

from .tablets import bar, comes, unsent

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SCANS = "**/api/v1/scans/"


@pytest.fixture
def queued(tablet, scan, badges, codes):
    """A tablet with six scans that it could not send yet; its clock can be moved on."""
    page = tablet("CUT-1", at_a_fake_clock=True)
    scan(page, badges["Ana Ruiz"])
    page.context.set_offline(True)
    for code in codes[:6]:
        scan(page, code)
    expect(unsent(page)).to_contain_text("6 not sent")
    return page


def back(page, route):
    """The network is back, behind a proxy that does this with the requests that carry scans."""
    page.route(SCANS, route)
    page.context.set_offline(False)


def recorded(codes) -> None:
    """Each of these is in the record once, in this order, and did its work once."""
    assert list(Scan.objects.order_by("sequence").values_list("code", "outcome")) == [
        (code, "recorded") for code in codes
    ]
    assert Task.objects.filter(operation="cut", state="done").count() == len(codes)


def moves_on(page, holds, step_ms: int = 3_000, most: int = 80) -> bool:
    """Whether something comes to hold as the tablet's clock moves on."""
    for _ in range(most):
        if comes(page, holds, 0.2):
            return True
        page.clock.run_for(step_ms)
    return comes(page, holds, 2)


def begins(batch, left) -> bool:
    """Whether a batch is the oldest of what is left. It may be a part: after a slow answer the next one is smaller."""
    return len(batch) >= min(2, len(left)) and batch == left[: len(batch)]


def says(page, words: str):
    return lambda: words in unsent(page).inner_text()


def lost(route):
    route.fetch()
    route.abort()


def cut_off(route):
    answer = route.fetch()
    route.fulfill(status=200, content_type="application/json", body=answer.body()[: len(answer.body()) // 2])


def sign_in_page(route):
    route.fulfill(status=200, content_type="text/html", body="<!doctype html><title>Wi-Fi</title><p>Accept.")


def empty(route):
    route.fetch()
    route.fulfill(status=200, content_type="application/json", body="")


def other_shape(route):
    route.fetch()
    route.fulfill(status=200, content_type="application/json", body='{"results": "six"}')


def no_results(route):
    route.fetch()
    route.fulfill(status=200, content_type="application/json", body='{"results": []}')


def ids_of_others(route):
    answer = route.fetch().json()
    for place, result in enumerate(answer["results"]):
        result["id"] = f"not-{place}"
    route.fulfill(status=200, content_type="application/json", body=json.dumps(answer))


def no_outcome(route):
    answer = route.fetch().json()
    for result in answer["results"]:
        del result["outcome"]
    route.fulfill(status=200, content_type="application/json", body=json.dumps(answer))


def error_page(route):
    route.fulfill(status=502, content_type="text/html", body="<h1>Bad gateway</h1>")


def bad_request_of_a_proxy(route):
    route.fulfill(status=400, content_type="text/html", body="<h1>Bad request</h1>")


def moved(route):
    route.fulfill(status=302, headers={"Location": "/station/"}, body="")


FAULTS = [
    lost,
    cut_off,
    sign_in_page,
    empty,
    other_shape,
    no_results,
    ids_of_others,
    no_outcome,
    error_page,
    bad_request_of_a_proxy,
    moved,
]


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: fault.__name__)
def test_no_scan_leaves_without_its_own_result(queued, codes, fault):
    page, tries = queued, []

    def faulty(route):
        fault(route)
        tries.append([one["code"] for one in route.request.post_data_json["scans"]])

    back(page, faulty)
    assert moves_on(page, lambda: len(tries) >= 3)
    assert tries[0] == codes[:6]
    assert all(begins(batch, codes[:6]) for batch in tries), tries
    expect(unsent(page)).to_contain_text("6 not sent")
    page.unroute(SCANS)
    assert moves_on(page, says(page, "All sent"))
    recorded(codes[:6])
    expect(bar(page, "recorded")).to_contain_text("Gore 1 of 5 cut.")
    expect(page.locator("#refused-words")).to_have_text("")


def test_results_of_some_let_only_these_go(queued, codes):
    """A proxy cuts the list of results and turns it round: each goes by its own id, the others are asked for again."""
    page, asked = queued, []

    def some(route):
        asked.append([one["code"] for one in route.request.post_data_json["scans"]])
        answer = route.fetch().json()
        answer["results"] = answer["results"][:2][::-1]
        route.fulfill(status=200, content_type="application/json", body=json.dumps(answer))

    back(page, some)
    assert moves_on(page, says(page, "All sent"))
    assert asked[0] == codes[:6]
    assert all(begins(batch, codes[2 * place : 6]) for place, batch in enumerate(asked)), asked
    assert len(asked) == 3
    recorded(codes[:6])


def test_a_401_in_the_middle_keeps_the_rest_and_goes_on_after_it(queued, codes):
    """The first batch is answered, then the key does not count for a while."""
    page, batches = queued, []

    def locked(route):
        batches.append([one["code"] for one in route.request.post_data_json["scans"]])
        if len(batches) == 1:
            answer = route.fetch().json()
            answer["results"] = answer["results"][:3]
            route.fulfill(status=200, content_type="application/json", body=json.dumps(answer))
        else:
            problem = {"type": "about:blank", "title": "Not signed in", "status": 401, "detail": "Revoked."}
            route.fulfill(status=401, content_type="application/problem+json", body=json.dumps(problem))

    back(page, locked)
    assert moves_on(page, says(page, "3 not sent"))
    expect(page.locator("#link")).to_contain_text("This tablet may not send")
    expect(page.locator("#link")).to_contain_text("Everything is kept.")
    assert moves_on(page, lambda: len(batches) >= 3)
    assert all(begins(batch, codes[3:6]) for batch in batches[1:]), batches
    page.unroute(SCANS)
    assert moves_on(page, says(page, "All sent"))
    expect(page.locator("#link")).to_be_hidden()
    recorded(codes[:6])


def test_503_for_a_minute_is_waited_out_as_the_server_asks(queued, scan, codes):
    """Never sooner than `Retry-After`, also where a scan, the front or the network would wake the sender."""
    page, times = queued, []

    def busy(route):
        times.append(page.evaluate("performance.now()"))
        route.fulfill(
            status=503,
            headers={"Retry-After": "5", "Content-Type": "application/problem+json"},
            body='{"title": "Busy", "status": 503, "detail": "Busy."}',
        )

    began = page.evaluate("performance.now()")
    back(page, busy)
    assert comes(page, lambda: times)
    while page.evaluate("performance.now()") - began < 60_000:
        page.clock.run_for(1_000)
        page.evaluate("dispatchEvent(new Event('online'))")
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
        if len(times) == 3 and "6 not sent" in unsent(page).inner_text():
            scan(page, codes[6])
            expect(unsent(page)).to_contain_text("7 not sent")
    gaps = [after - before for before, after in zip(times, times[1:], strict=False)]
    assert len(gaps) >= 5
    assert min(gaps) >= 5_000, gaps
    expect(unsent(page)).to_contain_text("7 not sent, oldest")
    assert not Scan.objects.exists()
    page.unroute(SCANS)
    assert moves_on(page, says(page, "All sent"), 1_000)
    recorded(codes[:7])


WATCH_SENDING = """() => {
    const [later, ask] = [window.setTimeout, window.fetch];
    window.sending = [];
    addEventListener("online", () => { window.isBack = true; });
    window.setTimeout = (act, ms) => {
        if (ms % 1) window.sending.push(["wait", performance.now(), ms]);
        return later(act, ms);
    };
    window.fetch = (url, rest) => {
        if (rest?.method === "POST") window.sending.push(["try", performance.now()]);
        return ask(url, rest);
    };
}"""
BEGIN_ANEW = """() => {
    if (window.sending.at(-1)?.[0] !== "wait") return false;
    window.sending = [];
    dispatchEvent(new Event("online"));
    return true;
}"""


def test_waits_grow_to_a_minute_each_of_its_own_length(queued, codes):
    """Back-off with jitter: each wait is between half of its step and the step; the steps double from 1 s to 60 s.

    The page writes down its tries and waits itself, and begins anew between two tries: how late this process hears of
    them, and when the browser says that the network is back, changes nothing.
    """
    page = queued
    page.route("**/api/v1/station/queue/", lambda route: route.abort())
    page.evaluate(WATCH_SENDING)
    back(page, lambda route: route.abort())

    def sending():
        return page.evaluate("window.sending")

    def now():
        return page.evaluate("performance.now()")

    assert comes(
        page, lambda: page.evaluate("window.isBack") and any(what == "try" for what, *_ in sending())
    )
    assert comes(page, lambda: page.evaluate(BEGIN_ANEW), 30)
    for place, step in enumerate((1, 2, 4, 8, 16, 32, 60, 60), start=1):
        assert comes(page, lambda place=place: len(sending()) >= 2 * place, 30)
        assert [what for what, *_ in sending()[: 2 * place]] == ["try", "wait"] * place
        _, began, length = sending()[2 * place - 1]
        assert 500 * step <= length <= 1000 * step
        page.clock.run_for(max(0, began + length - 300 - now()))
        for _ in range(60):  # how soon a slow page acts on it is not asked
            if comes(page, lambda place=place: len(sending()) > 2 * place, 1):
                break
            page.clock.run_for(500)
        _, tried = sending()[2 * place]
        assert tried >= began + length - 1, "sooner than it said"
    lengths = [length for what, *_, length in sending() if what == "wait"]
    assert len(set(lengths)) == len(lengths)
    page.unroute(SCANS)
    page.evaluate("dispatchEvent(new Event('online'))")
    assert moves_on(page, says(page, "All sent"))
    recorded(codes[:6])


def test_a_scan_that_breaks_the_server_lets_the_others_pass_and_stays(queued, codes):
    """A 500 whenever one of them is in the batch: the others are recorded in their order, and it is tried again."""
    page, broken = queued, codes[2]

    def breaks(route):
        if any(one["code"] == broken for one in route.request.post_data_json["scans"]):
            route.fulfill(status=500, content_type="text/html", body="<h1>Server error</h1>")
        else:
            route.fallback()

    back(page, breaks)
    assert moves_on(page, says(page, "1 not sent"))
    recorded([code for code in codes[:6] if code != broken])
    page.locator("#unsent").click()
    expect(page.locator("#unsent-list li")).to_contain_text("could not read it")
    page.unroute(SCANS)
    assert moves_on(page, says(page, "All sent"))
    recorded([code for code in codes[:6] if code != broken] + [broken])


def test_an_unreadable_scan_is_tried_again_and_the_others_go_in_their_order(queued, codes):
    page, unreadable, order = queued, codes[1], []

    def choke(route):
        sent = [one["code"] for one in route.request.post_data_json["scans"]]
        if unreadable in sent:
            problem = '{"title": "Wrong input", "status": 400, "detail": "No."}'
            route.fulfill(status=400, content_type="application/problem+json", body=problem)
        else:
            order.extend(sent)
            route.fallback()

    back(page, choke)
    assert moves_on(page, says(page, "1 not sent"))
    assert order == [code for code in codes[:6] if code != unreadable]
    page.unroute(SCANS)
    page.clock.run_for(8 * 60_000)
    assert unreadable not in Scan.objects.values_list("code", flat=True)
    assert moves_on(page, says(page, "All sent"), 30_000)
    assert set(Scan.objects.values_list("code", flat=True)) == set(codes[:6])


@pytest.mark.parametrize("locks", ["kept by the browser", "none, as over plain http"])
def test_two_windows_of_one_tablet_send_each_scan_once(tablet, scan, badges, codes, locks):
    page, bodies = tablet("CUT-1"), []
    if locks.startswith("none"):
        page.context.add_init_script("delete Navigator.prototype.locks")
        page.reload()
        page.wait_for_selector("#station[data-ready=yes]")
    assert page.evaluate("'locks' in navigator") == (locks == "kept by the browser")
    scan(page, badges["Ana Ruiz"])
    page.context.set_offline(True)
    for code in codes[:6]:
        scan(page, code)
    expect(unsent(page)).to_contain_text("6 not sent")
    other = page.context.new_page()

    def slow(route):
        bodies.append([one["code"] for one in route.request.post_data_json["scans"]])
        answer = route.fetch()
        other.wait_for_timeout(300)
        route.fulfill(response=answer)

    page.context.route(SCANS, slow)
    page.context.set_offline(False)
    other.goto("/station/")
    other.wait_for_selector("#station[data-ready=yes]")
    for window in (page, other):
        window.evaluate("dispatchEvent(new Event('online'))")
    for window in (page, other):
        expect(unsent(window)).to_have_text("All sent")
    assert bodies == [codes[:6]]
    recorded(codes[:6])
