"""Little's law, held against the record of a range: how far L = λ W, and in words why not."""

from __future__ import annotations

from shopfloor.flow_figures import Flow
from shopfloor.flow_tables import Column, Section, percent, table


def law(found: Flow) -> Section:
    held = found.little
    gap = percent(held.gap)
    columns = [
        Column("there", "L: fittings on the floor", 2),
        Column("rate", "λ: finished a day", 3),
        Column("lead", "W: days from release to finish", 3),
        Column("product", "λ × W", 2),
        Column("gap_percent", "Gap, % of L", 1),
        Column("before", "There before the range"),
        Column("after", "There at its end"),
    ]
    row = [held.there, held.rate, held.lead, held.product, gap, held.before, held.after]
    return Section(
        "law",
        "Little’s law, as a check of the record",
        " ".join(law_said(found)),
        (),
        (table("law", "L = λ W", columns, [row]),),
    )


def law_said(found: Flow) -> list[str]:
    """Whether L = λ W holds over the range, and why not where it does not."""
    held = found.little
    if held.gap is None:
        return ["No fitting was on the floor in this time."]
    if held.lead is None:
        return ["No fitting was finished in this time, so that there is no W to hold against."]
    said = [
        f"On the average {held.there:.1f} fittings were on the floor; λ W gives {held.product:.1f},"
        f" {abs(100 * held.gap):.1f} % {'less' if held.gap >= 0 else 'more'}."
    ]
    if held.before:
        said.append(
            f"{_fittings(held.before)} there before the range began: days before it count in W, not in L."
        )
    if held.after:
        said.append(f"{_fittings(held.after)} still there at its end: those days count in L, not yet in W.")
    if not held.before and not held.after:
        said.append("All came and left within the range, so that the two are equal.")
    missed = sum(found.totals[one.code].implied for one in found.operations if one.code in found.totals)
    scrapped = sum(found.scrap.values())
    if missed:
        said.append(
            f"{missed} missed scan{'' if missed == 1 else 's'}: the moment is that of the next scan, so pieces seem"
            " to lie before an operation longer than they did; fittings come and go as they are counted."
        )
    if scrapped:
        said.append(
            f"{scrapped} segment{'' if scrapped == 1 else 's'} scrapped: the fittings stayed longer, in L and in W."
        )
    return said


def _fittings(count: int) -> str:
    return f"{count} fitting was" if count == 1 else f"{count} fittings were"
