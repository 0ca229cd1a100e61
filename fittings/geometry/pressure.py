"""The least gauge for a diameter and a pressure class, by a rule of the shop's table. It warns; it never decides.

The rows are those of printed rules. A diameter that lies between two printed rows takes the larger one's.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from .parameters import number_text, with_unit
from .practice import Warned

TABLE = "Gauge for diameter and pressure class"
DEFER = "Local codes and the project's specification decide."
ANY = "*"


@dataclass(frozen=True)
class PressureRow:
    """One row of a rule. Bounds of None are open; `over` leaves its own value out, `to` takes it in.

    Diameters in inches; pressures in inches of water gauge, negative below the room's: a row for negative ones
    runs from `over` −1 to −2. Where both are None the rule prints no class. `gauge` is the least gauge (the
    highest number), `thickness_in` the least thickness where no gauge is printed; a row with neither only says
    its `note`.
    """

    rule: str
    material: str
    diameter_over_in: float | None
    diameter_to_in: float | None
    pressure_over: float | None
    pressure_to: float | None
    gauge: int | None
    thickness_in: float | None
    note: str = ""
    source: str = ""

    @property
    def prints_class(self) -> bool:
        return self.pressure_over is not None or self.pressure_to is not None

    @property
    def only_notes(self) -> bool:
        return self.gauge is None and self.thickness_in is None


def covers(row: PressureRow, material: str, diameter: float, pressure: float | None) -> bool:
    """Whether a row is about this metal, diameter and pressure class.

    row       the PressureRow
    material  name as in the shop's gauges table
    diameter  the largest inside diameter [in]
    pressure  the class, negative below the room's pressure [in. w.g.]; None is not told
    returns   True or False; a row that prints a class is about no fitting that has none
    source    the rows name theirs

    >>> row = PressureRow('R', '*', 14, 17, 0.5, 1.0, 26, None)
    >>> covers(row, 'galvanized', 17, 1.0), covers(row, 'galvanized', 14, 1.0), covers(row, 'galvanized', 16, -1.0)
    (True, False, False)
    """
    if row.material not in (material, ANY):
        return False
    over, to = row.diameter_over_in, row.diameter_to_in
    if (over is not None and diameter <= over + 1e-9) or (to is not None and diameter > to + 1e-9):
        return False
    if not row.prints_class:
        return True
    if pressure is None:
        return False
    sign = -1.0 if (row.pressure_to or row.pressure_over or 0.0) < 0 else 1.0
    size, least = pressure * sign, (row.pressure_over or 0.0) * sign
    return size > least + 1e-9 and (row.pressure_to is None or size <= row.pressure_to * sign + 1e-9)


def pressure_warnings(
    rule: str,
    rows: Sequence[PressureRow],
    *,
    material: str,
    gauge: int,
    thickness: float,
    diameter: float | None,
    pressure: float | None,
    unit: str = "in",
) -> tuple:
    """Warnings about a gauge that is lighter than the rule lists, or that no row of it covers.

    rule       the rule that the shop has chosen; nothing is said where it is empty
    rows       the shop's table, all rules
    material   name as in the shop's gauges table
    gauge      of the fitting [1: a gauge number, not a length]
    thickness  [in]
    diameter   the largest inside diameter of a free end [in]; None where no end is round
    pressure   the class on the order line [in. w.g.], negative below the room's; None is not told: then only
               rows that print no class are looked at, and nothing is said where none covers the fitting
    unit       unit of lengths in the sentences, 'in' or 'mm'
    returns    tuple of Warned; each names the table, the rule, its source, and defers to local codes
    source     the rows name theirs

    >>> rows = [PressureRow('IMC 603.4', 'galvanized', 17, 18, 0.5, 1.0, 24, None, source='IMC, table 603.4')]
    >>> said = pressure_warnings('IMC 603.4', rows, material='galvanized', gauge=26, thickness=0.0217,
    ...                          diameter=18.0, pressure=1.0)
    >>> said[0].code, said[0].message.partition(':')[0]
    ('gauge_for_pressure', 'Gauge is 26')
    """
    own = [row for row in rows if row.rule == rule]
    if not rule or diameter is None or (pressure is None and not own):
        return ()
    what = f"{with_unit(diameter, 'in', unit)} {material}"
    if pressure is not None:
        what += f" at {number_text(pressure)} in. w.g."
    found = [row for row in own if covers(row, material, diameter, pressure)]
    listed = next((row for row in found if not row.only_notes), None)
    if listed is not None:
        return _too_light(listed, what, gauge, thickness, unit)
    if pressure is None:
        return ()
    if found:
        row = found[0]
        message = f"{TABLE}, {rule}, lists no gauge for {what} ({row.source}). {row.note} {DEFER}"
        return (Warned("pressure_by_other_standard", message),)
    message = f"{TABLE}, {rule}: no listed row covers {what.removesuffix('.')}. {DEFER}"
    return (Warned("pressure_not_listed", message),)


def _too_light(row: PressureRow, what: str, gauge: int, thickness: float, unit: str) -> tuple:
    if row.gauge is not None:
        if gauge <= row.gauge:
            return ()
        given, listed = f"Gauge is {gauge}", f"{row.gauge} gauge or heavier"
    else:
        if thickness >= row.thickness_in - 1e-9:
            return ()
        given = f"Gauge is {gauge}, {with_unit(thickness, 'in', unit)} thick"
        listed = f"{with_unit(row.thickness_in, 'in', unit)} or thicker"
    note = f" {row.note}" if row.note else ""
    message = f"{given}: {TABLE.lower()}, {row.rule}, lists {listed} for {what} ({row.source}).{note} {DEFER}"
    return (Warned("gauge_for_pressure", message),)
