"""What a station can take, by gauge and diameter, and the sentence for what it cannot."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fittings.models import OrderLine
from shared.units import plain_number
from shared.words import say
from travelers.forms import sizes_at
from travelers.pieces import Found


@dataclass(frozen=True)
class Limits:
    """What a station can take; None is no limit. A heavier gauge has a smaller number."""

    gauge_lightest: int | None = None
    gauge_heaviest: int | None = None
    diameter_least_in: float | None = None
    diameter_most_in: float | None = None

    @property
    def has_diameters(self) -> bool:
        return self.diameter_least_in is not None or self.diameter_most_in is not None

    def take(self, sizes: Sequence[float]) -> bool:
        """Whether a piece of these diameters [in] can be worked on here; one without is taken."""
        least, most = self.diameter_least_in, self.diameter_most_in
        return all((least is None or size >= least) and (most is None or size <= most) for size in sizes)

    def beyond(self, gauge: int, sizes: Sequence[float]) -> str:
        """What a piece has that the station cannot take, in the language in use; blank where it takes it."""
        light, heavy = self.gauge_lightest, self.gauge_heaviest
        if heavy is not None and gauge < heavy:
            return say("{gauge} ga is beyond this station: {limit} ga and lighter.", gauge=gauge, limit=heavy)
        if light is not None and gauge > light:
            return say("{gauge} ga is beyond this station: {limit} ga and heavier.", gauge=gauge, limit=light)
        for size in sizes:
            words = {"size": plain_number(size), "limit": plain_number(self._bound(size))}
            if self._bound(size) > size:
                return say("{size} in is beyond this station: {limit} in and more.", **words)
            if self._bound(size) < size:
                return say("{size} in is beyond this station: up to {limit} in.", **words)
        return ""

    def _bound(self, size: float) -> float:
        """The limit that a diameter passes; itself where it passes none."""
        least, most = self.diameter_least_in, self.diameter_most_in
        if least is not None and size < least:
            return least
        return most if most is not None and size > most else size


StationLimits = Callable[[str], Limits | None]


def beyond_limits(limits: Limits, found: Found) -> str:
    """The sentence for a scanned piece that the station cannot take; blank where it takes it. One query, if any.

    Of a sheet only the gauge counts: what lies on it is flat.
    """
    if limits == Limits() or not found.loaded:
        return ""
    one = found.loaded[0]
    line = OrderLine.objects.only("gauge", "development").get(pk=one.line_id)
    position = next((each.position for each in one.spec.segments if each.id == found.segment), None)
    sizes = () if found.sheet else sizes_at(line.development, position)
    return limits.beyond(line.gauge, sizes)
