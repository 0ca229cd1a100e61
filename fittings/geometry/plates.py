"""Which stock a pattern fits, and the fewest equal plates that fit it where the whole does not."""

import math

import numpy as np
import shapely

from .allowances import cut_outline
from .development import Sheet
from .errors import CannotBeMade, FieldProblem
from .net import Net
from .outline import extent, signed_area
from .parameters import number_text

MOST_PLATES = 12
_SLACK = 1e-6  # in


def plate_count(stretch_out: float, lap: float, longest_stock: float | None) -> int:
    """Fewest equal plates so that each, with its lap, is no longer than the longest stock.

    stretch_out    of the whole segment [in]
    lap            of each plate [in]
    longest_stock  [in], None for no limit
    returns        plates, ≥ 1
    raises         CannotBeMade if the lap alone is as long as the stock
    source         definition; the rule of fewest equal plates is a house rule

    >>> plate_count(188.5, 0.5, 120.0), plate_count(119.5, 0.5, 120.0), plate_count(500.0, 0.5, None)
    (2, 1, 1)
    """
    if longest_stock is None:
        return 1
    room = longest_stock - lap
    if room <= 0:
        limit = f"less than {number_text(longest_stock)} in"
        sentence = f"Lap is {number_text(lap)} in; it must be {limit}, the longest stock."
        raise CannotBeMade([FieldProblem("allowances.lap", lap, limit, sentence)])
    return max(1, int(np.ceil(stretch_out / room - 1e-9)))


def fits_stock(outline, sheet: Sheet, *, may_turn: bool) -> bool:
    """Whether a cut outline can be laid on the stock, lengthwise or across.

    outline   shape (n, 2) [in]
    sheet     its longest and widest stock [in]
    may_turn  turned until any side of its convex hull lies along the stock; else as it lies, or by a quarter turn
    returns   bool
    source    the box of least width, and that of least area, lies on a side of the convex hull (from memory)

    >>> sheet = Sheet('galvanized', 24, 0.0276, 1.156, 120, 60)
    >>> [fits_stock(np.array([[0, 0], [w, 0], [w, h], [0, h]], float), sheet, may_turn=False)
    ...  for w, h in ((120, 60), (50, 110), (70, 70))]
    [True, True, False]
    """
    if sheet.longest_stock_in is None and sheet.widest_stock_in is None:
        return True
    long, wide = (math.inf if one is None else one for one in (sheet.longest_stock_in, sheet.widest_stock_in))
    boxes = np.array([extent(outline)])
    if may_turn:
        hull = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(outline)))
        sides = np.diff(hull, axis=0)
        ways = sides / np.hypot(*sides.T)[:, None]
        across = ways[:, ::-1] * [1, -1]
        boxes = np.column_stack([np.ptp(hull @ turned.T, axis=0) for turned in (ways, across)])
    return bool(np.any((boxes.max(axis=1) <= long + _SLACK) & (boxes.min(axis=1) <= wide + _SLACK)))


def plates_needed(
    net: Net, sheet: Sheet, widths, is_cylinder: bool, whole_cut, too_round: bool = False
) -> tuple[int, list[np.ndarray], bool]:
    """The fewest equal plates of a net pattern that fit the stock, or, where none do, what the longest stock asks.

    net          the Net
    sheet        its longest and widest stock [in]
    widths       lap, width_a, width_b [in]
    is_cylinder  laid as it lies or turned by a quarter; else turned to any angle
    whole_cut    cut outline of the pattern in one piece, shape (n, 2) [in]
    too_round    the pattern in one piece covers itself
    returns      (count, cut outlines of the plates where they lie in the whole [in], whether they fit)
    raises       CannotBeMade if the lap alone is as long as the stock
    source       the rule of fewest equal plates is a house rule

    >>> net = Net([[0, 0], [150, 0]], [[0, 12], [150, 12]], [0, 1], [0, 1])
    >>> widths = {'lap': 0, 'width_a': 0, 'width_b': 0}
    >>> sheet = Sheet('galvanized', 24, 0.0276, 1.156, 120, 60)
    >>> plates_needed(net, sheet, widths, True, net.outline())[::2]
    (2, True)
    """
    least = 1
    if is_cylinder:
        least = plate_count(float(net.edge_a[-1, 0]), widths["lap"], sheet.longest_stock_in)
    elif sheet.longest_stock_in is not None:
        plate_count(0.0, widths["lap"], sheet.longest_stock_in)
    fewest = None  # that lie flat without covering themselves
    long, wide = sheet.longest_stock_in, sheet.widest_stock_in
    most = max(least, MOST_PLATES)
    if is_cylinder and long is not None and extent(net.outline())[1] > long + _SLACK:
        most = least  # too long for the stock, however it is divided
    start = least
    if most > least and None not in (long, wide):
        start = min(most, max(least, math.ceil(signed_area(net.outline()) / (long * wide) - 1e-9)))
    for count in range(least if too_round else start, most + 1):
        if too_round and any(part.covers_itself(widths["lap"]) for part in equal_parts(net, count)):
            continue
        fewest = fewest or count
        cuts = _cuts(net, count, widths, whole_cut, sheet, is_cylinder)
        if cuts is not None:
            return count, cuts, True
    count = (fewest or least) if too_round else least
    return count, _cuts(net, count, widths, whole_cut), False


def equal_parts(net: Net, count: int):
    """The equal parts of a net pattern one by one, where they lie.

    net      the Net
    count    parts, ≥ 1
    returns  iterator of Nets [in]
    source   definition

    >>> net = Net([[0, 0], [150, 0]], [[0, 12], [150, 12]], [0, 1], [0, 1])
    >>> [part.edge_a[-1].tolist() for part in equal_parts(net, 2)]
    [[75.0, 0.0], [150.0, 0.0]]
    """
    return (net.part(k / count, (k + 1) / count) if count > 1 else net for k in range(count))


def _cuts(net, count, widths, whole_cut, sheet=None, is_cylinder=True):
    """The cut outlines of equal parts; None where one of them exceeds the stock of a sheet, if one is given."""
    parts = equal_parts(net, count)
    part = first = next(parts)
    cuts = []
    for k in range(1, count + 1):
        following = next(parts) if k < count else first
        if sheet is not None and not fits_stock(part.outline(), sheet, may_turn=not is_cylinder):
            return None
        cut = cut_of(part, following, **widths) if count > 1 else whole_cut
        if sheet is not None and not fits_stock(cut, sheet, may_turn=not is_cylinder):
            return None
        cuts.append(cut)
        part = following
    return cuts


def cut_of(net: Net, following: Net, *, lap, width_a, width_b) -> np.ndarray:
    """The cut outline of a net pattern whose lap is closed under another.

    net               the Net
    following         the Net that its lap is closed under
    lap               [in], ≥ 0
    width_a, width_b  edge allowances [in], ≥ 0
    returns           outline, shape (n, 2) [in]
    source            allowances.cut_outline

    >>> net = Net([[0, 0], [10, 0]], [[0, 4], [10, 4]], [0, 1], [0, 1])
    >>> cut_of(net, net, lap=1.0, width_a=0, width_b=0).tolist()
    [[0.0, 0.0], [10.0, 0.0], [11.0, 0.0], [11.0, 4.0], [10.0, 4.0], [0.0, 4.0]]
    """
    edge_a, corners_a = net.edge("a")
    edge_b, corners_b = net.edge("b")
    return cut_outline(
        edge_a,
        edge_b,
        lap=lap,
        width_a=width_a,
        width_b=width_b,
        next_a=following.edge("a")[0],
        next_b=following.edge("b")[0],
        corners_a=corners_a,
        corners_b=corners_b,
    )
