"""Papers let scans go first, for a little."""

import threading
import time

from shared.way import LONGEST_SECONDS, give_way, hurried
from travelers.documents.page import Paper


def took() -> float:
    began = time.monotonic()
    give_way()
    return time.monotonic() - began


def test_with_nothing_hurried_nobody_waits():
    assert took() < LONGEST_SECONDS / 2


def test_long_work_waits_no_longer_than_a_tenth_of_a_second():
    with hurried():
        assert took() > LONGEST_SECONDS * 0.9
    assert took() < LONGEST_SECONDS / 2


def test_it_goes_on_as_soon_as_the_last_is_answered(monkeypatch):
    monkeypatch.setattr("shared.way.LONGEST_SECONDS", 30)
    waited = []
    with hurried():
        with hurried():
            paper = threading.Thread(target=lambda: waited.append(took()))
            paper.start()
        time.sleep(0.05)
        assert not waited
    paper.join(10)
    assert len(waited) == 1 and waited[0] < 10


def test_what_fails_is_not_hurried_for_ever():
    try:
        with hurried():
            raise KeyError
    except KeyError:
        pass
    assert took() < LONGEST_SECONDS / 2


def test_papers_give_way_after_each_page():
    assert Paper.after_page is give_way
