"""When an operation runs out of work because too little comes from the one before it: as if work flowed evenly."""

from __future__ import annotations


def runs_dry(
    queued_hours: float, stations: int, *, fed_hours: float, fed_stations: int, passes_on: float
) -> float | None:
    """Hours of work until the queue of an operation is empty; None where no station does it.

    t = Q ÷ (c − f·r) while the one before still has work, which is W ÷ f; after that t = (Q + W·r) ÷ c

    queued_hours  Q, hours of work that lie there [h], ≥ 0
    stations      c, that do it
    fed_hours     W, hours of work that lie at the one before [h], ≥ 0
    fed_stations  f, that do that
    passes_on     r, hours of work here for an hour that is done there, ≥ 0

    Half an hour of seams comes with each hour of the one roll; one seamer, then two:

    >>> runs_dry(1.0, 1, fed_hours=6.5, fed_stations=1, passes_on=0.5)
    2.0
    >>> runs_dry(3.0, 2, fed_hours=6.5, fed_stations=1, passes_on=0.5)
    2.0
    """
    if not stations:
        return None
    if not fed_stations:
        return queued_hours / stations
    falls = stations - fed_stations * passes_on
    if falls > 0 and queued_hours / falls <= fed_hours / fed_stations:
        return queued_hours / falls
    return (queued_hours + fed_hours * passes_on) / stations
