"""Closed formulas of queues in their steady state: what the simulation is held against, and what the help page shows.

Rates are per hour and times in hours, or any other unit; `utilisation` is below 1 where the room is without limit.
Sources: J. D. C. Little, A proof for the queuing formula L = λW, Operations Research 9 (1961); A. K. Erlang's waiting
formula; Pollaczek–Khinchine for one server and any service time; Kingman's and Sakasegawa's approximations and the laws
of a line as in W. J. Hopp and M. L. Spearman, Factory Physics.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


class Unstable(ValueError):
    """More arrives than the servers can do: no steady state."""


@dataclass(frozen=True)
class Steady:
    """A queue in its steady state.

    in_system, in_queue  mean numbers (L, Lq)
    stay, wait           mean times [h] (W, Wq)
    none                 share of the time in which nobody is there (p0)
    waits                share of the arrivals that wait
    """

    utilisation: float
    in_system: float
    in_queue: float
    stay: float
    wait: float
    none: float
    waits: float


def erlang_c(load: float, servers: int) -> float:
    """The share of arrivals that wait, with exponential times; `load` is arrivals by the rate of one server.

    >>> round(erlang_c(6, 10), 4)
    0.1013
    """
    _stable(load / servers)
    busy = 1.0  # Erlang's loss formula, server by server: stable for any number of them
    for server in range(1, servers + 1):
        busy = load * busy / (server + load * busy)
    return busy / (1 - load / servers * (1 - busy))


def many_servers(arrivals: float, service: float, servers: int = 1) -> Steady:
    """M/M/c: exponential times, `servers` alike, room without limit.

    arrivals, service  rates [1/h]; service of one server

    >>> found = many_servers(24, 30)
    >>> round(found.in_system, 4), round(found.stay, 4), round(found.none, 4)
    (4.0, 0.1667, 0.2)
    """
    load = arrivals / service
    share = load / servers
    waits = erlang_c(load, servers)
    wait = waits / (servers * service - arrivals)
    total = sum(load**n / math.factorial(n) for n in range(servers))
    none = 1 / (total + load**servers / math.factorial(servers) / (1 - share))
    stay = wait + 1 / service
    return Steady(share, arrivals * stay, arrivals * wait, stay, wait, none, waits)


def one_server(arrivals: float, service: float, variation: float) -> Steady:
    """M/G/1: one server, service times of any kind (Pollaczek–Khinchine).

    variation  of the service times: standard deviation by mean; 1 is exponential, 0 constant

    >>> one_server(0.8, 1.0, 1.0).in_queue / one_server(0.8, 1.0, 0.0).in_queue
    2.0
    """
    share = arrivals / service
    _stable(share)
    in_queue = share**2 * (1 + variation**2) / (2 * (1 - share))
    wait = in_queue / arrivals
    return Steady(share, in_queue + share, in_queue, wait + 1 / service, wait, 1 - share, share)


@dataclass(frozen=True)
class Limited:
    """A queue with limited room. `shares[n]` is the share of the time in which n are there."""

    shares: tuple[float, ...]
    in_system: float
    in_queue: float
    in_service: float
    throughput: float


def limited_room(arrivals: float, service: float, servers: int, room: int) -> Limited:
    """M/M/c/K: at most `room` in the system; who finds it full goes away.

    >>> round(limited_room(5, 2, 2, 5).in_system, 3)
    3.277
    """
    weights = [1.0]
    for number in range(1, room + 1):
        weights.append(weights[-1] * arrivals / (service * min(number, servers)))
    shares = tuple(weight / sum(weights) for weight in weights)
    in_service = sum(min(number, servers) * share for number, share in enumerate(shares))
    in_system = sum(number * share for number, share in enumerate(shares))
    return Limited(shares, in_system, in_system - in_service, in_service, arrivals * (1 - shares[-1]))


def wait_about(utilisation: float, hours: float, arrivals: float, service: float, servers: int = 1) -> float:
    """The mean wait in a queue of any kind, about [h] (Kingman; for several servers Sakasegawa).

    hours              mean service time [h]
    arrivals, service  variation of the times between arrivals and of the service times

    >>> round(wait_about(0.8, 1.0, 1.0, 1.0), 6)
    4.0
    """
    _stable(utilisation)
    crowd = utilisation ** (math.sqrt(2 * (servers + 1)) - 1) / (servers * (1 - utilisation))
    return (arrivals**2 + service**2) / 2 * crowd * hours


@dataclass(frozen=True)
class Line:
    """A line's own measures: `rate` of its bottleneck [1/h], `raw_hours` through it with no wait."""

    rate: float
    raw_hours: float

    @property
    def critical(self) -> float:
        """Pieces in it that keep the bottleneck busy where nothing varies."""
        return self.rate * self.raw_hours

    def best(self, pieces: float) -> tuple[float, float]:
        """(throughput [1/h], hours through the line) with so many pieces in it and no variation."""
        hours = max(self.raw_hours, pieces / self.rate)
        return pieces / hours, hours

    def practical_worst(self, pieces: float) -> tuple[float, float]:
        """The same with as much variation as exponential times on a balanced line have."""
        hours = self.raw_hours + (pieces - 1) / self.rate
        return pieces / hours, hours


def line(stations: list[tuple[int, float]]) -> Line:
    """The line of these stations: (machines alike, hours a piece) each.

    >>> one = line([(1, 2), (2, 5), (6, 10), (2, 3)])
    >>> one.rate, one.raw_hours, one.critical
    (0.4, 20, 8.0)
    """
    return Line(min(machines / hours for machines, hours in stations), sum(hours for _, hours in stations))


def _stable(share: float) -> None:
    if share >= 1:
        raise Unstable(f"Utilisation is {share:.3f}; a steady state needs less than 1.")
