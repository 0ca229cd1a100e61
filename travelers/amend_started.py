"""How far the fittings of a line are, as a change of its order sees them: counts, metal, hours, money. Only reads."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal

from fittings.models import Fitting, OrderLine, Segment
from shared.portions import in_portions
from travelers import pieces
from travelers.cut_costs import segment_costs
from travelers.models import Operation, ScanTarget, Task
from travelers.state import DONE, RUNNING, FittingState, derive

AT_A_TIME = 200


@dataclass(frozen=True)
class One:
    """A fitting that is in the order. `loaded` and `state` are None where nothing was ever scanned of it.

    is_delivered  it left, or is on a delivery: no change takes it out any more
    """

    id: int
    number: int
    code: str
    traveler: str
    loaded: pieces.Loaded | None = None
    state: FittingState | None = None
    minutes: float = 0.0
    is_delivered: bool = False

    @property
    def is_done(self) -> bool:
        return self.state is not None and self.state.fitting == DONE

    @property
    def is_begun(self) -> bool:
        """Work on it has been done or is being done, by the scans so far."""
        if self.state is None:
            return False
        return any(task.state == DONE or task.started_at for task in self.state.tasks.values()) or bool(
            self.state.plates
        )

    def left(self, taken_out_as: str, at: datetime) -> FittingState:
        """What becomes of it where it is taken out of its order at a moment."""
        assert self.loaded is not None
        spec = replace(self.loaded.spec, voided_at=at, taken_out_as=taken_out_as)
        return derive(spec, self.loaded.events)


@dataclass(frozen=True)
class Step:
    """How many pieces of fittings are through an operation, and at work there."""

    operation: str
    name: str
    done: int
    running: int
    is_whole: bool


@dataclass(frozen=True)
class Metal:
    """What went into pieces: area of the cut outlines [in²], weight of the net patterns [lb], and money where known."""

    pieces: int = 0
    area_in2: float = 0.0
    weight_lb: float = 0.0
    cost: Decimal | None = Decimal("0.00")
    segments: tuple[int, ...] = ()


def fittings_in(lines: Iterable[OrderLine]) -> dict[int, list[One]]:
    """By line the fittings that are in the order, by number. What was never scanned costs no look at its tasks."""
    ids = [line.pk for line in lines]
    heads = Fitting.objects.filter(line__in=ids, taken_out_at=None).order_by("line_id", "number")
    found: dict[int, list[One]] = {line: [] for line in ids}
    for pk, line, number, code, traveler, delivered in heads.values_list(
        "pk", "line_id", "number", "code", "traveler_code", "delivered"
    ):
        found[line].append(One(pk, number, code, traveler, is_delivered=delivered is not None))
    touched = set(ScanTarget.objects.filter(fitting__line__in=ids).values_list("fitting_id", flat=True))
    touched |= set(
        Task.objects.filter(fitting__line__in=ids, came_done=True).values_list("fitting_id", flat=True)
    )
    known: dict[int, tuple[pieces.Loaded, FittingState, float]] = {}
    wanted = sorted(touched & {one.id for own in found.values() for one in own})
    for part in in_portions(wanted, AT_A_TIME):
        minutes = dict(Task.objects.filter(fitting__in=part, came_done=False).values_list("pk", "minutes"))
        for loaded in pieces.load(part, lock=False):
            state = derive(loaded.spec, loaded.events)
            done = sum(minutes.get(id_, 0.0) for id_, task in state.tasks.items() if task.state == DONE)
            known[loaded.id] = loaded, state, done
    return {line: [replace(one, **_known(known.get(one.id))) for one in own] for line, own in found.items()}


def _known(row: tuple[pieces.Loaded, FittingState, float] | None) -> dict:
    return {} if row is None else dict(zip(("loaded", "state", "minutes"), row, strict=True))


def operation_names() -> list[tuple[str, str]]:
    """Codes and names in flow order."""
    return list(Operation.objects.order_by("position").values_list("code", "name"))


def steps_of(fittings: Sequence[One], names: Sequence[tuple[str, str]]) -> tuple[Step, ...]:
    """How far fittings are, by operation in flow order: their segments, then the fittings as a whole.

    names  as `operation_names` gives them
    """
    done: Counter[str] = Counter()
    running: Counter[str] = Counter()
    whole: dict[str, bool] = {}
    for one in fittings:
        if one.loaded is None or one.state is None:
            continue
        for task in one.loaded.spec.tasks:
            now = one.state.tasks[task.id].state
            whole[task.operation] = task.segment is None
            done[task.operation] += now == DONE
            running[task.operation] += now == RUNNING
    return tuple(
        Step(code, name, done[code], running[code], whole[code])
        for code, name in names
        if done[code] or running[code]
    )


def metal_of(line: OrderLine, segments: Sequence[int]) -> Metal:
    """The metal in segments of a line, by its frozen development; `cost` None where that of one is not known."""
    ids = tuple(segments)
    if not ids:
        return Metal()
    rows = Segment.objects.filter(pk__in=ids)
    shapes = line.development["segments"]
    own = [shapes[position - 1] for position in rows.order_by("pk").values_list("position", flat=True)]
    costs = segment_costs(rows)
    known = [costs.get(segment) for segment in ids]
    return Metal(
        len(ids),
        sum(shape["cut_area"] for shape in own),
        sum(shape["weight"] for shape in own),
        None if None in known else sum(known, Decimal("0.00")),
        ids,
    )
