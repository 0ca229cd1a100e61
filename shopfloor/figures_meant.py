"""What every figure of the board, What if and Flow means, with its formula; the numbers in them are the code's own."""

from __future__ import annotations

from dataclasses import dataclass

from shopfloor.board import RATE_HOURS
from shopfloor.floor_now import LOOKED_BACK, VARIATION
from shopfloor.floor_travel import MOST_FITTINGS
from shopfloor.flow.estimates import CONFIDENCE
from shopfloor.flow.figures import BIN_RATIO
from shopfloor.flow.learned import FAR, LEAST, LEAST_IN_CELL
from shopfloor.flow.practice import NEAR_DOOR, SHARPEST_TURN, WORK_ROOM
from shopfloor.flow.queue import OFF_BELOW, ON_AT, SHORTEST_LOOK
from shopfloor.flow.travel import WALK_FT_PER_MIN
from shopfloor.measured_times import NEWEST
from shopfloor.next_act import STEP_MINUTES
from shopfloor.order_promises import RUNS


@dataclass(frozen=True)
class Figure:
    name: str
    says: str
    formula: str


@dataclass(frozen=True)
class Group:
    title: str
    figures: tuple[Figure, ...]


def figures_meant() -> tuple[Group, ...]:
    return (
        Group(
            "At each operation",
            (
                Figure(
                    "Waiting", "Pieces that are released, with work before it still to do.", "count of tasks"
                ),
                Figure("Ready", "Pieces with all before it done.", "count of tasks"),
                Figure("Running", "Pieces that were started and not finished.", "count of tasks"),
                Figure("On hold", "Pieces that somebody put on hold.", "count of tasks"),
                Figure("Done today", "Pieces finished since the shop’s midnight.", "count of finishes"),
                Figure(
                    "Oldest", "How long the piece that is ready the longest has been so.", "now − its moment"
                ),
                Figure(
                    "Hours",
                    "What is ready or running, by the standard times. Work on hold is drawn and not counted.",
                    "sum of minutes ÷ 60",
                ),
                Figure(
                    "Clears",
                    "What its active stations can do until the end of the working day.",
                    f"stations × hours left, at least {SHORTEST_LOOK:g} h; outside of a day a whole one",
                ),
                Figure(
                    "Piles up",
                    "More lies there than is cleared. It goes on until it is clearly less.",
                    f"on from hours ÷ clears ≥ {ON_AT:g}, off below {OFF_BELOW:g}",
                ),
                Figure(
                    "In / out",
                    f"Pieces an hour that became ready, and that were finished, in the last {RATE_HOURS:g} h of work.",
                    f"count ÷ {RATE_HOURS:g} h",
                ),
                Figure(
                    "Starves",
                    "When the next operation runs out of work, as if it flowed evenly from the pile. Said where it is "
                    f"today, to {STEP_MINUTES} minutes.",
                    "its hours ÷ (its stations − stations at the pile × hours there for an hour here)",
                ),
                Figure(
                    "Is idle",
                    f"A station without limits that finished nothing in the last {RATE_HOURS:g} hours of work, though "
                    "work lay there as long, and has nothing in work.",
                    "no finish and nothing running",
                ),
                Figure(
                    "Cap",
                    "With so many pieces there, the tablets before it say to hold back.",
                    "ready + running + on hold ≥ cap",
                ),
            ),
        ),
        Group(
            "The floor",
            (
                Figure(
                    "Bottleneck",
                    f"Where the most work was offered to a station in the last {RATE_HOURS:g} hours of work.",
                    "(hours that lie there + hours finished in that time) ÷ stations",
                ),
                Figure(
                    "One station more gives",
                    "How much more a day the floor does, until the next operation holds it back.",
                    "hours of a station at the bottleneck ÷ the most hours of a station afterwards − 1",
                ),
                Figure(
                    "Short kits", "Fittings of which pieces are at assembly and others are not.", "by fitting"
                ),
                Figure(
                    "At risk",
                    "Orders due soon with more work than hours until then, done one after the other.",
                    "sum of minutes ÷ 60 > hours of work until the end of the due day",
                ),
                Figure(
                    "Expected, 90 %",
                    "When the order at risk will be finished, worked out once an hour, of the last day of work.",
                    "as likely as not, almost surely: see below",
                ),
                Figure(
                    "Finished",
                    "Fittings finished since the shop’s midnight, of those planned for today.",
                    "count of fittings",
                ),
                Figure(
                    "Planned today",
                    "The least even pace that keeps every due date. What is overdue is due today; a day off has none.",
                    "⌈the most, over due dates, of fittings due by then, open at midnight ÷ working days to it⌉",
                ),
            ),
        ),
        Group(
            "Measured times",
            (
                Figure(
                    "Timing",
                    f"A start to its finish, a scan each, of the newest {NEWEST:,} pieces finished at an operation."
                    " A moment of a station belongs to the work that it finishes next.",
                    "hours of work from start to finish ÷ pieces",
                ),
                Figure(
                    "Measured, min a piece",
                    "The standard’s form by one factor; or its own line, where the times by feet surely are another.",
                    "each + a foot × feet: Theil’s and Sen’s slope, raised to the total minutes of the pieces",
                ),
                Figure(
                    "Far off",
                    "Timings that are left out, by the cube root of measured ÷ the line.",
                    f"more than {FAR:g} × MAD ÷ 0.6745 from the median",
                ),
                Figure(
                    "Difference",
                    f"Measured by standard minutes of the pieces, from {LEAST} timings on.",
                    f"Σ measured ÷ Σ standard − 1, ± Student’s t at {100 * CONFIDENCE:.0f} % × standard error",
                ),
                Figure(
                    "Spread",
                    "Standard deviation by mean of one piece’s time, by the cube roots of measured ÷ the line.",
                    "c ÷ 3 ÷ (1 − c² ÷ 9) = MAD ÷ 0.6745 ÷ median, × √pieces of a timing",
                ),
                Figure(
                    "By size and gauge",
                    f"Medians of timings of one size and gauge, from {LEAST_IN_CELL} on.",
                    "longer or shorter: sign test at 95 %",
                ),
            ),
        ),
        Group(
            "What if, and the expected finish",
            (
                Figure(
                    "Times",
                    "Standard times, or as measured; spread as measured, or as hand work is. The same luck on both"
                    " floors.",
                    f"gamma distribution, standard deviation ÷ mean where not measured = {VARIATION:g}",
                ),
                Figure(
                    "New work",
                    f"Lines drawn from those released in the last {LOOKED_BACK.days} days, at random times.",
                    "fittings released ÷ hours of work in that time",
                ),
                Figure(
                    "±",
                    "How far the true mean may lie off.",
                    f"Student’s t at {100 * CONFIDENCE:.0f} % × standard deviation ÷ √runs",
                ),
                Figure(
                    "Better, worse",
                    "The difference is more than luck: both floors are compared run by run.",
                    "its range does not hold 0",
                ),
                Figure(
                    "Lead time",
                    "From an order’s release to its fitting’s finish.",
                    "half of the fittings, nine in ten: percentiles",
                ),
                Figure(
                    "As likely as not, almost surely",
                    "The hour that one more run keeps with a probability of 1 in 2, and of 9 in 10.",
                    f"the ⌈share × (n + 1)⌉th end of n = {RUNS} runs",
                ),
                Figure(
                    "Little’s law",
                    "On the average the fittings on the floor are those that come in a day times their days there.",
                    "L = λ W",
                ),
            ),
        ),
        Group(
            "The floor plan",
            (
                Figure(
                    "Move",
                    "A piece goes from a station to the next, as its scans tell: each segment from the rack to where "
                    "the whole is made, the whole to wrapping and door. Of fittings that were finished in the days "
                    f"chosen, the newest {MOST_FITTINGS} at most; without missed scans and scrap.",
                    "stations of a piece’s finished tasks, by time",
                ),
                Figure(
                    "Trip",
                    "Pieces of one line that make the same move on the same day are carried together.",
                    "⌈pieces ÷ pieces carried at once⌉; 1 where no number is given",
                ),
                Figure(
                    "One trip’s way",
                    "Along and across the room, from middle to middle. The walk back is not known and not counted.",
                    "|x₁ − x₂| + |y₁ − y₂|",
                ),
                Figure("Carried a day", "What is walked with pieces.", "sum of trips × way ÷ working days"),
                Figure(
                    "Minutes a day",
                    f"At the walking speed of the room; usual is {WALK_FT_PER_MIN:g} ft a minute.",
                    "carried a day ÷ speed",
                ),
                Figure(
                    "Carried for a fitting", "The same for one.", "sum of trips × way ÷ fittings finished"
                ),
                Figure(
                    "Crossings",
                    "Pairs of flow lines, drawn straight from middle to middle, that cross.",
                    "count; lines with a common end do not",
                ),
                Figure(
                    "In one direction",
                    "The way of the most pieces from the rack to the door does not turn back or cross itself.",
                    f"no turn above {SHARPEST_TURN:g}°; common practice, no source",
                ),
                Figure(
                    "Near wrapping and door",
                    "From the edge of the station that the most finished work leaves, along or across.",
                    f"free way ≤ {NEAR_DOOR:g} ft; common practice, no source",
                ),
                Figure(
                    "Room to work",
                    "Between a station and what is nearest to it, walls left out.",
                    f"free way ≥ {WORK_ROOM:g} ft; common practice, no source",
                ),
                Figure(
                    "What the search proposes",
                    "Stations on each other’s places, with their clearances; what is fixed, and areas, stay.",
                    "least sum of trips × way; never more than before",
                ),
            ),
        ),
        Group(
            "Flow",
            (
                Figure(
                    "Came, finished",
                    "Pieces that could be worked on from that day on, and pieces finished in it, by the time of the"
                    " scan. What was cancelled or scrapped before it was finished was never there.",
                    "count by day of the shop’s clock",
                ),
                Figure(
                    "Throughput",
                    "Fittings finished on a working day.",
                    "finished ÷ working days of the range",
                ),
                Figure(
                    "Lead time",
                    "From an order’s release to its fitting’s last finish, on the clock and in hours of work.",
                    "finished − released",
                ),
                Figure(
                    "Cycle time",
                    "At an operation, in hours of work. Of a missed scan it is not known.",
                    "finished − ready",
                ),
                Figure(
                    "Queue and touch",
                    "The two parts of the cycle time, where the start was scanned; where only the finish was, neither"
                    " is known.",
                    "started − ready, finished − started",
                ),
                Figure(
                    "50, 85, 95 of 100",
                    f"So many took no longer. Times are kept in bins that are {100 * (BIN_RATIO - 1):.0f} % wide.",
                    f"the ⌈share × n⌉th time in order, to {100 * (BIN_RATIO**0.5 - 1):.1f} %",
                ),
                Figure(
                    "Cumulative flow",
                    "What has come to each operation since the range began, day by day.",
                    "sum of what came",
                ),
                Figure(
                    "Work in progress",
                    "What was ready, running or on hold at an operation at a day’s end: pieces, hours by the standard"
                    " times, or the cost of the metal. Before it is cut, metal is stock and counts nothing.",
                    "there now − came since + finished since",
                ),
                Figure(
                    "Days at the cap",
                    "Days on which so many pieces lay there at any moment.",
                    "pieces at the day’s beginning + the highest rise in it ≥ cap",
                ),
                Figure(
                    "Utilisation",
                    "How much of the open hours a station’s finished work takes by the standard times.",
                    "standard hours finished ÷ hours of work by the calendar",
                ),
                Figure(
                    "In work",
                    "How much of the open hours something was in work, where starts were scanned. Pieces in work at"
                    " once count once; the time counts on the day of the finish.",
                    "union of (started, finished) ÷ hours of work by the calendar",
                ),
                Figure(
                    "First pass",
                    "Pieces that were neither scrapped, there or later, nor made again; a fitting with all its"
                    " segments so.",
                    "finished at the first pass ÷ finished",
                ),
                Figure("Scrap", "Segments scrapped, at the operation of the scan, by its reason.", "count"),
                Figure(
                    "Missed scans",
                    "Finishes that nobody scanned, as a later scan shows.",
                    "missed ÷ finished",
                ),
                Figure(
                    "Little’s law as a check",
                    "L is the time that fittings were on the floor in the range, by its days; λ and W are of those"
                    " finished in it. What came before the range, or is there at its end, makes a gap.",
                    "gap = (L − λ W) ÷ L, days on the clock",
                ),
                Figure(
                    "Hours of work",
                    "By the shifts and holidays as they are now: when the tables change, past days are counted anew.",
                    "hours of the calendar between the two moments",
                ),
            ),
        ),
    )
