"""The closed formulas against printed values; each row of the file names its source."""

from __future__ import annotations

import csv
import doctest
from pathlib import Path

import pytest

from shopfloor.flow import queueing
from shopfloor.flow.queueing import Unstable, limited_room, line, many_servers, one_server, wait_about

FILE = Path(__file__).resolve().parents[2] / "fixtures" / "authorities" / "queueing.csv"
ROWS = list(csv.DictReader(FILE.open()))


def half_a_digit(text: str) -> float:
    """Half of the last printed place."""
    return 0.5 * 10 ** -len(text.partition(".")[2])


def figure(row: dict[str, str]) -> float:
    arrivals, service, servers = float(row["arrivals"]), float(row["service"]), int(row["servers"])
    if row["room"]:
        found = limited_room(arrivals, service, servers, int(row["room"]))
    else:
        found = many_servers(arrivals, service, servers)
    name, _, number = row["quantity"].partition(" ")
    return found.shares[int(number)] if name == "share" else getattr(found, name)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['case_id']} {row['quantity']}")
def test_printed_values(row):
    assert figure(row) == pytest.approx(float(row["value"]), abs=1.001 * half_a_digit(row["value"]))


def test_the_file_has_all_the_models():
    assert {row["model"] for row in ROWS} >= {"M/M/1", "M/M/3", "M/M/7", "M/M/10", "M/M/2/5"}
    assert len(ROWS) == 55


def test_examples_in_the_docstrings():
    assert doctest.testmod(queueing).failed == 0


def test_constant_times_halve_the_queue_and_the_approximation_is_exact_there():
    """Hopp and Spearman, Factory Physics: half of M/M/1 where service does not vary."""
    exact = many_servers(0.8, 1.0)
    assert one_server(0.8, 1.0, 1.0).wait == pytest.approx(exact.wait)
    assert one_server(0.8, 1.0, 0.0).wait == pytest.approx(exact.wait / 2)
    assert wait_about(0.8, 1.0, 1.0, 0.0) == pytest.approx(exact.wait / 2)


def test_penny_lines():
    """Hopp and Spearman, Factory Physics: four machines of 2 h; four stations of 1, 2, 6 and 2 machines."""
    first = line([(1, 2)] * 4)
    assert (first.rate, first.raw_hours, first.critical) == (0.5, 8, 4)
    assert [first.best(pieces) for pieces in (1, 4, 6)] == [(0.125, 8), (0.5, 8), (0.5, 12)]
    assert first.practical_worst(4) == (pytest.approx(4 / 14), 14)
    second = line([(1, 2), (2, 5), (6, 10), (2, 3)])
    assert (second.rate, second.raw_hours, second.critical) == (0.4, 20, 8)


def test_more_than_the_servers_can_do_has_no_steady_state():
    for ask in (lambda: many_servers(2, 1, 2), lambda: one_server(1, 1, 0), lambda: wait_about(1.2, 1, 1, 1)):
        with pytest.raises(Unstable, match="needs less than 1"):
            ask()
