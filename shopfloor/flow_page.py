"""The page of the flow: the figures in words, tables and charts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from itertools import accumulate

from fittings.geometry import KINDS
from fittings.money import currency_sign
from shared.units import plain_number
from shopfloor.flow import charts
from shopfloor.flow.figures import CYCLE, DAYS, FLOOR, QUEUE, TOUCH, Cell
from shopfloor.flow_figures import (
    CENTS,
    HOURS,
    KIND,
    PIECES,
    SIZE,
    STEP,
    UNPRICED,
    Asked,
    Flow,
    flow,
    flow_bring_up,
)
from shopfloor.flow_law import law
from shopfloor.flow_tables import (
    DAY,
    SHARES,
    Column,
    FlowPage,
    Section,
    percent,
    percentiles,
    shares,
    table,
    text,
    with_unit,
)

MOST_SCRAP_BARS = 12


def flow_shown(asked: Asked, unit: str, *, asked_by: str, now: datetime) -> FlowPage:
    """The page of a range, with the days that are over added up first."""
    missing = flow_bring_up(asked_by=asked_by, now=now)
    found = flow(asked, now=now, days_missing=sum(day >= asked.first for day in missing))
    return flow_page(found, unit)


def flow_page(found: Flow, unit: str = PIECES) -> FlowPage:
    """All sections. `unit` of `UNITS` is what work in progress and the cumulative flow are counted in."""
    floor = found.totals.get(FLOOR, Cell())
    facts = (
        ("Fittings finished", f"{floor.finished}"),
        ("A working day", text(floor.finished / found.work_days if found.work_days else None, 1)),
        ("Lead time, half of them", with_unit(floor.percentile(DAYS, 0.5), 1, "d")),
        ("95 of 100", with_unit(floor.percentile(DAYS, 0.95), 1, "d")),
        ("First pass", with_unit(percent(floor.first_pass_yield), 1, "%")),
    )
    return FlowPage(
        facts,
        (
            _output(found),
            _cumulative(found, unit),
            _there(found, unit),
            _times(found),
            _stations(found),
            _yield(found),
            _scrap(found),
            law(found),
        ),
        found.days_missing,
        _is_empty(found),
    )


def _is_empty(found: Flow) -> bool:
    moved = any(cell.arrived or cell.finished for cell in found.totals.values())
    return not moved and not any(any(place.pieces) for place in found.there.values())


# -- words ---------------------------------------------------------------------------


def _day(day: date) -> str:
    return f"{day.day} {day:%b}"


def _labels(found: Flow) -> list[str]:
    return [_day(step.first) for step in found.steps]


def _step_word(found: Flow) -> str:
    return DAY if all(step.first == step.last for step in found.steps) else "week"


def _place_name(found: Flow) -> str:
    return next((one.name for one in found.operations if one.code == found.asked.operation), "")


# -- sections ------------------------------------------------------------------------


def _output(found: Flow) -> Section:
    """Throughput, lead or cycle time and yield of the chosen place, by what was asked."""
    place, by, word = _place_name(found), found.asked.by, _step_word(found)
    what = f"pieces at {place}" if place else "fittings"
    title = what[0].upper() + what[1:]
    lead = "Cycle time" if place else "Lead time"
    columns = [
        Column("came" if place else "released", "Came" if place else "Released"),
        Column("finished", "Finished"),
        *shares("cycle_hours" if place else "lead_hours", f"{lead}, hours of work", 2),
        *([] if place else shares("lead_days", "Days", 2)),
        Column("first_pass_percent", "First pass, %", 1),
    ]
    rows = []
    for key, cell in _keyed(found):
        days = [] if place else percentiles(cell, DAYS)
        numbers = [cell.arrived, cell.finished, *percentiles(cell, CYCLE), *days]
        rows.append([key, *numbers, percent(cell.first_pass_yield)])
    by_word = word if by == STEP else by
    head = Column(by_word, by_word.capitalize(), None)
    finished = [cell.finished for cell in found.by_step]
    unit = "hours of work" if place else "days"
    spread = CYCLE if place else DAYS
    series = [
        (f"{100 * share:.0f} of 100", [cell.percentile(spread, share) for cell in found.by_step])
        for share in reversed(SHARES)
    ]
    return Section(
        "output",
        f"{title} by {by_word}",
        f"What was finished each {word}, and the {lead.lower()} within which 50, 85 and 95 of 100 were.",
        (
            charts.bars(f"{title} finished each {word}", f"{what} a {word}", _labels(found), finished),
            charts.lines(f"{lead} by {word} of finish", unit, _labels(found), series),
        ),
        (table("output", f"{title} by {by_word}", [head, *columns], rows, is_long=True),),
    )


def _keyed(found: Flow) -> list[tuple[str, Cell]]:
    if found.asked.by == STEP:
        return [(step.name, cell) for step, cell in zip(found.steps, found.by_step, strict=True)]
    names = {
        KIND: lambda key: KINDS[key].title if key in KINDS else key,
        SIZE: lambda key: f"{plain_number(key)} in",
    }.get(found.asked.by, str)
    most_first = sorted(found.by.items(), key=lambda one: (-one[1].finished, str(one[0])))
    return [(names(key), cell) for key, cell in most_first if cell.arrived or cell.finished]


def _in_unit(by_unit: Mapping[str, Sequence[float]], unit: str) -> list[float | None]:
    """Values in a unit. Of metal none of whose cost is known, nothing is said; where some of it is, its sum is."""
    if unit != CENTS:
        return list(by_unit[unit])
    return [
        None if unknown and not cents else cents / 100
        for cents, unknown in zip(by_unit[CENTS], by_unit[UNPRICED], strict=True)
    ]


def _unit_words(unit: str) -> tuple[str, int]:
    return {PIECES: ("pieces", 0), HOURS: ("hours of work", 1), CENTS: (f"metal, {currency_sign()}", 2)}[unit]


def _cumulative(found: Flow, unit: str) -> Section:
    words, places = _unit_words(unit)
    series = []
    for one in found.operations:
        came = found.came.get(one.code)
        sums = {name: list(accumulate(values)) for name, values in came.items()} if came else None
        values = _in_unit(sums, unit) if sums else [0.0] * _days(found)
        series.append((one.name, _at_steps(found, values)))
    rows = [[step.name, *(values[at] for _, values in series)] for at, step in enumerate(found.steps)]
    columns = [Column(_step_word(found), _step_word(found).capitalize(), None)]
    columns += [Column(one.code, one.name, places) for one in found.operations]
    return Section(
        "cumulative",
        "Cumulative flow",
        "What has come to each operation since the range began."
        + (" Where two lines run apart, pieces pile up between them." if unit == PIECES else ""),
        (charts.lines("What has come to each operation", words, _labels(found), series, height=320),),
        (table("cumulative", f"Come since the beginning, {words}", columns, rows, is_long=True),),
    )


def _days(found: Flow) -> int:
    return (found.asked.last - found.asked.first).days + 1


def _at_steps(found: Flow, by_day: Sequence) -> list:
    """The values at the steps' last days."""
    return [by_day[(step.last - found.asked.first).days] for step in found.steps]


def _there(found: Flow, unit: str) -> Section:
    words, places = _unit_words(unit)
    drawn, summary, by_step = [], [], []
    for one in found.operations:
        there = found.there[one.code]
        ends = _in_unit(vars(there), unit)
        known = [value for value in ends[1:] if value is not None]
        cap = one.cap if unit == PIECES else None
        steps = _at_steps(found, ends[1:])
        by_step.append(steps)
        limit = (f"cap {cap}", float(cap)) if cap else None
        drawn.append(
            charts.lines(
                f"What lay at {one.name} at the end of each {_step_word(found)}",
                f"{one.name}: {words}",
                _labels(found),
                [("", steps)],
                limit=limit,
                height=170,
                width=charts.NARROW,
            )
        )
        full = sum(most >= one.cap for most in there.highest) if one.cap and there.highest else None
        mean = sum(known) / len(known) if known else None
        summary.append(
            [one.name, ends[0], ends[-1], mean, max(known, default=None), one.cap, full]
            + ([there.unpriced[-1]] if unit == CENTS else [])
        )
    columns = [
        Column("operation", "Operation", None),
        Column("before", "Before the range", places),
        Column("at_end", "At its end", places),
        Column("mean", "Mean of the days’ ends", max(1, places)),
        Column("highest", "Highest of the days’ ends", places),
        Column("cap_pieces", "Cap, pieces"),
        Column("days_at_cap", "Days on which it was reached"),
        *([Column("pieces_not_known", "Pieces of unknown cost")] if unit == CENTS else []),
    ]
    names = [Column(_step_word(found), _step_word(found).capitalize(), None)]
    names += [Column(one.code, one.name, places) for one in found.operations]
    rows = [[step.name, *(own[at] for own in by_step)] for at, step in enumerate(found.steps)]
    says = f"What was ready, running or on hold at the end of each {_step_word(found)}."
    if unit == CENTS:
        says += (
            " Money is the metal of what is cut, as its cut plan shares it out; before it is cut it is stock."
            " What was cut without a plan, or at no known price, is left out and counted beside."
        )
    if found.asked.filters:
        says += " Days at a cap are counted for all pieces together only."
    return Section(
        "there",
        "Work in progress",
        says,
        tuple(drawn),
        (
            table("there", f"At each operation, {words}", columns, summary),
            table(
                "there-steps", f"At the end of each {_step_word(found)}, {words}", names, rows, is_long=True
            ),
        ),
    )


def _times(found: Flow) -> Section:
    columns = [
        Column("operation", "Operation", None),
        Column("finished", "Finished"),
        Column("start_known_percent", "Start known, %", 1),
        *shares("cycle_hours", "Cycle, h"),
        *shares("queue_hours", "Queue, h"),
        *shares("touch_hours", "Touch, h"),
    ]
    rows, drawn = [], []
    for one in found.operations:
        cell = found.totals.get(one.code, Cell())
        known = percent(cell.timed / cell.finished) if cell.finished else None
        rows.append([
            one.name, cell.finished, known,
            *percentiles(cell, CYCLE), *percentiles(cell, QUEUE), *percentiles(cell, TOUCH),
        ])  # fmt: skip
        drawn.append((one.name, [(cell.percentile(CYCLE, 0.5) or 0.0, "")]))
    return Section(
        "times",
        "Times at each operation",
        "In hours of work, for 50, 85 and 95 of 100 pieces. Cycle is from ready to finished, queue from ready to"
        " started, touch from started to finished. Where nobody had scanned the start, queue and touch are not"
        " known; of a missed scan nothing is.",
        (charts.rows("Half of the pieces, ready to finished", "hours of work, half of the pieces", drawn),),
        (table("times", "Times at each operation", columns, rows),),
    )


def _stations(found: Flow) -> Section:
    columns = [
        Column("station", "Station", None),
        Column("name", "Name", None),
        Column("pieces", "Pieces finished"),
        Column("standard_hours", "Standard hours", 1),
        Column("open_hours", "Open hours", 1),
        Column("utilisation_percent", "Utilisation, %", 1),
        Column("start_known_percent", "Start known, %", 1),
        Column("hours_in_work", "Hours in work", 1),
        Column("in_work_percent", "In work, %", 1),
    ]
    rows, drawn = [], []
    for code in sorted(found.names.keys() | found.stations.keys()):
        bench = found.stations.get(code)
        if bench is None:
            continue
        use = percent(bench.hours / found.open_hours) if found.open_hours else None
        work = bench.in_work if bench.timed else None
        share = percent(work / found.open_hours) if work is not None and found.open_hours else None
        known = percent(bench.timed / bench.pieces) if bench.pieces else None
        rows.append([
            code, found.names.get(code, ""), bench.pieces, bench.hours, found.open_hours, use, known, work, share,
        ])  # fmt: skip
        drawn.append((code, [(use or 0.0, "")]))
    says = "Standard hours of what each station finished, of the hours that the shop was open."
    if found.asked.filters:
        says += " Of all orders and kinds: a station’s day is not told apart by them."
    return Section(
        "stations",
        "Utilisation of the stations",
        says,
        (charts.rows("Utilisation of the stations", "%", drawn, most=100),) if drawn else (),
        (table("stations", "Stations", columns, rows),),
    )


def _yield(found: Flow) -> Section:
    columns = [
        Column("operation", "Operation", None),
        Column("finished", "Finished"),
        Column("first_pass", "At the first pass"),
        Column("first_pass_percent", "First pass, %", 1),
        Column("scrapped", "Scrapped here"),
        Column("missed", "Missed scans"),
        Column("missed_percent", "Missed, %", 1),
    ]
    rows, drawn = [], []
    for one in found.operations:
        cell = found.totals.get(one.code, Cell())
        missed = percent(cell.implied / cell.finished) if cell.finished else None
        good = percent(cell.first_pass_yield)
        scrapped = sum(cell.scrap.values())
        rows.append([one.name, cell.finished, cell.first_pass, good, scrapped, cell.implied, missed])
        drawn.append((one.name, [(good or 0.0, "")]))
    return Section(
        "yield",
        "First-pass yield and missed scans",
        "Of the pieces finished at each operation, those that were not scrapped, then or later, and not made again.",
        (charts.rows("First-pass yield", "%", drawn, most=100),),
        (table("yield", "First-pass yield and missed scans", columns, rows),),
    )


def _scrap(found: Flow) -> Section:
    names = {one.code: one.name for one in found.operations}
    columns = [
        Column("operation", "Operation", None),
        Column("reason", "Reason", None),
        Column("segments", "Segments"),
    ]
    rows = [
        [names.get(place, "Not known"), reason or "no reason given", count]
        for (place, reason), count in sorted(found.scrap.items(), key=lambda one: (-one[1], one[0]))
    ]
    by_reason: dict[str, int] = {}
    for _, reason, count in rows:
        by_reason[reason] = by_reason.get(reason, 0) + count
    most_first = sorted(by_reason.items(), key=lambda one: (-one[1], one[0]))[:MOST_SCRAP_BARS]
    drawn = [(reason, [(float(count), "")]) for reason, count in most_first]
    return Section(
        "scrap",
        "Scrap by reason",
        "Segments that were scrapped, where and why." if rows else "Nothing was scrapped in this time.",
        (charts.rows("Scrapped segments by reason", "segments", drawn, most=5),) if rows else (),
        (table("scrap", "Scrapped segments", columns, rows),) if rows else (),
    )
