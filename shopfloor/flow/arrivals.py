"""Work still to come, of the sort that came lately: lines drawn from the last weeks, at the rate of these weeks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from .floor import Job, Step


@dataclass(frozen=True)
class Recipe:
    """A line as it was released: the steps of one of its fittings, how many, and the hours of work until it was due."""

    segments: tuple[tuple[Step, ...], ...]
    whole: tuple[Step, ...]
    fittings: int
    slack: float | None = None
    priority: int = 5
    kind: str = ""


def coming(
    recipes: Sequence[Recipe],
    *,
    per_hour: float,
    hours: float,
    seed: int,
    mix: Mapping[str, float] | None = None,
) -> tuple[Job, ...]:
    """Fittings that come to the floor within the hours, line by line at random times.

    per_hour  fittings an hour of work; nothing comes at 0 or without recipes
    hours     of work from now
    mix       how often lines of a kind come, by the kind: 1, or not named, as often as they did

    >>> recipe = Recipe((), (Step("wrap", 0.1),), 4, slack=8.0)
    >>> found = coming([recipe], per_hour=2.0, hours=40.0, seed=1)
    >>> len(found) % 4, {round(job.due - job.released, 6) for job in found}
    (0, {8.0})
    """
    weights = np.array([(mix or {}).get(recipe.kind, 1.0) for recipe in recipes])
    if per_hour <= 0 or not weights.any():
        return ()
    random = np.random.default_rng((23, seed))
    lines_per_hour = per_hour / (sum(recipe.fittings for recipe in recipes) / len(recipes)) * weights.mean()
    reaches = np.cumsum(weights) / weights.sum()
    found: list[Job] = []
    at, line = 0.0, 0
    while True:
        at += float(random.exponential(1 / lines_per_hour))
        if at >= hours:
            return tuple(found)
        recipe = recipes[int(np.searchsorted(reaches, random.random(), side="right"))]
        line += 1
        due = None if recipe.slack is None else at + recipe.slack
        found += [
            Job(
                f"coming {line}.{number + 1}",
                recipe.segments,
                recipe.whole,
                f"coming {line}",
                f"coming {line}",
                at,
                due,
                recipe.priority,
            )
            for number in range(recipe.fittings)
        ]
