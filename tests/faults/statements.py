"""The five statements, judged from the clients' own histories and the public API alone.

Nothing acknowledged is missing. Nothing is there twice. A refusal changes nothing. Every message is a sentence. Nobody
without the right gets in.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

from tests.faults.server import Server
from tests.faults.tablet import Tablet
from tests.faults.wire import Answer

SENTENCE = re.compile(r"[A-Z“0-9][^\n{}<>]{8,}[.!]")
NEVER_SAID = re.compile(r"Traceback|Error\b|Exception|\bis None|null|sqlite|psycopg|SQL|[Ee]rrno")
TOLD = ("id", "outcome", "first_outcome", "message", "code", "operation", "changed", "sequence")


def record_of(server: Server) -> list[dict]:
    """The whole record, as a reader that polls gets it."""
    found: list[dict] = []
    since = 0
    while True:
        page = server.get(f"scans/?since={since}&page_size=500").json
        found += page["results"]
        if not page["next"]:
            assert page["count"] == len(page["results"])
            return found
        since = page["results"][-1]["sequence"]


def fittings_of(server: Server, *orders: str) -> dict[str, dict]:
    """Every fitting of these orders, whole."""
    codes = [one["code"] for order in orders for one in server.shop.fittings(order)]
    return {code: server.get(f"fittings/{code}/").json for code in codes}


def assert_sentence(text: str) -> None:
    assert SENTENCE.fullmatch(text), f"not a sentence: {text!r}"
    assert not NEVER_SAID.search(text), f"not for people: {text!r}"


def assert_problem(answer: Answer, *statuses: int) -> None:
    """A refusal of a whole request: problem details with a sentence; where it is busy, when to come again."""
    assert answer.status in statuses, (answer.status, answer.body[:300])
    assert answer.headers["content-type"] == "application/problem+json"
    body = answer.json
    assert {"type", "title", "status", "detail"} <= body.keys() and body["status"] == answer.status
    assert_sentence(body["detail"])
    if answer.status == 503:
        assert 1 <= int(answer.headers["retry-after"]) <= 60


def hold(server: Server, tablets: Sequence[Tablet], *, busy: bool = False) -> list[dict]:
    """Assert the statements over whole histories, whose queues are empty. Returns the record.

    busy  whether requests may have been refused as a whole meanwhile
    """
    assert not any(tablet.queue for tablet in tablets)
    for tablet in tablets:
        for answer in tablet.troubles:
            assert busy, (answer.status, answer.body[:300])
            assert_problem(answer, 503)
    record = record_of(server)
    _nothing_missing(record, tablets)
    _nothing_twice(record, tablets)
    for tablet in tablets:
        for results in tablet.answers.values():
            for result in results:
                assert set(TOLD) <= result.keys()
                assert_sentence(result["message"])
                if result["first_outcome"] == "refused" or result["outcome"] == "repeated":
                    assert result["changed"] == 0, "a refusal and a repetition change nothing"
    return record


def _nothing_missing(record: list[dict], tablets: Sequence[Tablet]) -> None:
    rows = {row["id"]: row for row in record}
    for tablet in tablets:
        for scan_id, results in tablet.answers.items():
            assert scan_id in rows, f"{scan_id} was answered and is not in the record"
            row, body = rows[scan_id], tablet.sent[scan_id]
            for result in results:
                assert result["first_outcome"] == row["outcome"]
                assert result["sequence"] == row["sequence"]
                assert result["message"] == row["message"]
            for name in ("code", "action", "badge", "count", "reason"):
                assert row[name] == body[name], name
            assert row["station"] == body.get("station", tablet.station)
    mine = {scan_id for tablet in tablets for scan_id in tablet.sent}
    assert mine == set(rows), "the record holds what was sent, and nothing else"


def _nothing_twice(record: list[dict], tablets: Sequence[Tablet]) -> None:
    assert [row["sequence"] for row in record] == list(range(1, len(record) + 1))
    assert len({row["id"] for row in record}) == len(record)
    firsts: dict[str, int] = {}
    for tablet in tablets:
        for scan_id, results in tablet.answers.items():
            firsts[scan_id] = firsts.get(scan_id, 0) + sum(one["outcome"] != "repeated" for one in results)
    assert all(count <= 1 for count in firsts.values()), "one delivery of an id is the first"


def repeated_alike(server: Server, tablets: Sequence[Tablet], *orders: str) -> None:
    """Everything sent once more is repeated, word for word, and changes neither the record nor a piece."""
    before, count = fittings_of(server, *orders), len(record_of(server))
    for tablet in tablets:
        known = {scan_id: tablet.first(scan_id) for scan_id in tablet.answers}
        tablet.send_all_again()
        for scan_id, first in known.items():
            last = tablet.answers[scan_id][-1]
            assert last["outcome"] == "repeated"
            assert {name: last[name] for name in ("first_outcome", "message", "sequence", "operation")} == {
                name: first[name] for name in ("first_outcome", "message", "sequence", "operation")
            }
    assert len(record_of(server)) == count
    assert fittings_of(server, *orders) == before


# -- what the pieces must be, from what the tablets were told ----------------


def assert_work(fittings: Iterable[dict], tablets: Sequence[Tablet], record: list[dict]) -> int:
    """Each task is as the recorded scans leave it: done once, by the first of its finishes that nobody undid.

    Holds for single-operation stations that start and finish pieces by their own codes and undo by naming a scan.
    returns  how many tasks were done by a scan of their own
    """
    rows = {row["id"]: row for row in record}
    undone = {
        tablet.sent[scan_id]["undoes"]
        for tablet in tablets
        for scan_id, results in tablet.answers.items()
        if tablet.sent[scan_id]["action"] == "undo" and results[0]["first_outcome"] == "recorded"
    }
    told: dict[tuple[str, str, str], list[tuple]] = {}
    for tablet in tablets:
        operation = tablet.station.partition("-")[0].lower()
        for scan_id, results in tablet.answers.items():
            body = tablet.sent[scan_id]
            if results[0]["first_outcome"] == "recorded" and scan_id not in undone:
                key = (body["code"], operation, body["action"])
                told.setdefault(key, []).append((_place(rows[scan_id]), tablet.station, body["badge"]))
    own = 0
    for fitting in fittings:
        for segment in fitting["segments"]:
            own += _assert_tasks(segment["tasks"], segment["code"], told, fitting)
        own += _assert_tasks(fitting["tasks"], fitting["code"], told, fitting)
    return own


def _place(row: dict) -> tuple[datetime, int]:
    """Where a scan stands among others: by the tablet's time where that can be used, else by the server's."""
    received = datetime.fromisoformat(row["received_at"])
    at = received if row["is_time_doubtful"] else min(received, datetime.fromisoformat(row["scanned_at"]))
    return at, row["sequence"]


def _assert_tasks(tasks: list[dict], code: str, told: dict, fitting: dict) -> int:
    whole = [] if tasks is fitting["tasks"] else [(fitting["code"], task) for task in fitting["tasks"]]
    own = 0
    for place, task in enumerate(tasks):
        later = [(code, other) for other in tasks[place + 1 :]] + whole
        finishes = sorted(told.get((code, task["operation"], "finish"), []))
        is_passed = any(
            told.get((where, other["operation"], action))
            for where, other in later
            for action in ("start", "finish")
        )
        seen: dict[str, Any] = {name: task[name] for name in ("state", "implied", "station", "badge")}
        if finishes:
            _, station, badge = finishes[0]
            assert seen == {"state": "done", "implied": False, "station": station, "badge": badge}, (
                code,
                task,
                finishes,
            )
            own += 1
        elif is_passed:
            assert (seen["state"], seen["implied"]) == ("done", True), (code, task)
        elif told.get((code, task["operation"], "start")):
            assert seen["state"] == "running", (code, task)
        else:
            assert seen["state"] in ("ready", "waiting"), (code, task)
    return own


# -- those without the right -------------------------------------------------


def intrusions(server: Server, code: str, badge: str, rng) -> list[tuple[str, str, int]]:
    """One round of tries by whoever may not: (who, id, status). None may be let in whatever the server's state."""
    found = []
    for who in ("nobody", "invented", "revoked", "display", "office"):
        scan_id = f"intruder-{rng.getrandbits(64):016x}"
        body = {"id": scan_id, "code": code, "action": "scrap", "count": None, "badge": badge}
        answer = server.post_as(who, "scans/", {"scans": [body | {"reason": "", "scanned_at": ""}]})
        expected = (401,) if who in ("nobody", "invented", "revoked") else (403,)
        assert_problem(answer, *expected, 503)
        found.append((who, scan_id, answer.status))
    return found


def none_got_in(record: list[dict], tries: Iterable[tuple[str, str, int]]) -> None:
    rows = {row["id"] for row in record}
    for who, scan_id, status in tries:
        assert status != 200 and scan_id not in rows, (who, status)
