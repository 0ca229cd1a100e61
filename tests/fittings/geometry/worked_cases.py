"""What the tests of the worked examples share: the file as published, developments, figures read off patterns."""

import csv
import json
import math
from decimal import Decimal

import numpy as np
import pytest

from fittings.geometry import Allowances, Practice, Sheet, develop, placed

from .conftest import AUTHORITIES

TEXT = (AUTHORITIES / "worked_examples.json").read_text(encoding="utf-8")
FILE = json.loads(TEXT, parse_float=Decimal)
PARTS = {
    part: {case["id"]: case for case in FILE[part]} for part in ("printed_cases", "methods", "derived_cases")
}
SHOWN = 1e-4  # in; what is read off a laid-out cone is good to the decimals that the app shows
THIN = 1e-12  # in


def make(kind, *, thickness=THIN, weight=1.156, gauge=24, material="galvanized", unit="in", **params):
    sheet = Sheet(material, gauge, thickness, weight)
    params = {name: float(value) if isinstance(value, Decimal) else value for name, value in params.items()}
    return develop(kind, params, sheet=sheet, allowances=Allowances(), practice=Practice(), unit=unit)


def elbow(**params):
    return make("gored_elbow", **params)


def given(part, name):
    return PARTS[part][name]["inputs"]


def length_at(segment, psi):
    """Length of a cylinder's elements at angles round the duct from the throat."""
    around = segment.stretch_out
    x = ((np.asarray(psi, float) - segment.start_angle) % (2 * math.pi)) / (2 * math.pi) * around
    x = np.where(x > around - 1e-9, 0.0, x)
    low, high = (np.interp(x, edge[:, 0], edge[:, 1]) for edge in (segment.edge_a, segment.edge_b))
    return high - low


def half_gores(dev):
    return sum(1 if segment.role == "end_gore" else 2 for segment in dev.segments)


def rises(dev):
    """Angles of all miter lines, from points at heel and throat in the formed elbow [deg]."""
    found = []
    for segment in dev.segments[:-1]:
        at = [
            (psi - segment.start_angle) % (2 * math.pi) / (2 * math.pi) * segment.stretch_out
            for psi in (0, math.pi)
        ]
        points = [(x, np.interp(x, *segment.edge_b.T)) for x in at]
        throat, heel = placed(dev, segment.position, points)
        found.append(math.degrees(math.atan2(heel[2] - throat[2], throat[0] - heel[0])))
    return found


def circle_through(points):
    """Middle and radius of the circle nearest to points (least squares)."""
    system = np.column_stack([2 * points, np.ones(len(points))])
    x, y, rest = np.linalg.lstsq(system, (points**2).sum(axis=1), rcond=None)[0]
    return np.array([x, y]), math.sqrt(rest + x * x + y * y)


def frustum(**params):
    """A reducer, and (outer radius, inner radius, sector angle [deg], area) of its cone as the app tells them.

    The laid-out cone agrees: its points lie on two arcs about one middle, and its area is that within their chords.
    """
    dev = make("reducer", **params)
    cone = next(segment for segment in dev.segments if segment.role == "cone")
    (middle, low), (high_middle, high) = (circle_through(edge) for edge in (cone.edge_a, cone.edge_b))
    assert np.hypot(*(middle - high_middle)) < 1e-3
    first, last = ((cone.edge_a[k] - middle) for k in (0, -1))
    turn = math.degrees(math.atan2(last[1], last[0]) - math.atan2(first[1], first[0])) % 360
    outer, inner, told = (dev.dimensions[name] for name in ("outer_radius", "inner_radius", "sector_angle"))
    assert (max(low, high), min(low, high), turn) == pytest.approx((outer, inner, told), rel=5e-6)
    area = math.radians(told) / 2 * (outer**2 - inner**2)
    assert cone.net_area == pytest.approx(area, rel=5e-4)
    return dev, (outer, inner, told, area)


def gauge_row(material, gauge):
    """A row of the shop's first table of gauges."""
    path = AUTHORITIES.parent / "tables" / "gauges.csv"
    with path.open(encoding="utf-8", newline="") as lines:
        rows = [
            row for row in csv.DictReader(lines) if row["material"] == material and row["gauge"] == str(gauge)
        ]
    return float(rows[0]["thickness_in"]), float(rows[0]["weight_lb_ft2"])


def rulings_at(cone, psi):
    """Ends of a laid-out cone's dense rulings at angles round it; between two of them on their chord's circle."""
    surface = cone.surface
    count = len(surface.flat_a) - 1
    at = ((np.asarray(psi) - cone.start_angle) % (2 * math.pi)) / (2 * math.pi) * count
    base = np.clip(np.round(at).astype(int), 1, count - 1)
    part = (at - base)[:, None]
    found = []
    for edge in (surface.flat_a, surface.flat_b):  # through three rulings
        before, here, after = edge[base - 1], edge[base], edge[base + 1]
        found.append(here + part * (after - before) / 2 + part**2 * (after - 2 * here + before) / 2)
    return found


def apex_of(first, second):
    """Where two rulings, each two points, meet in the flat."""
    (a, b), (c, d) = first, second
    u, v = b - a, d - c
    along = ((c - a)[0] * v[1] - (c - a)[1] * v[0]) / (u[0] * v[1] - u[1] * v[0])
    return a + along * u


LONG = {"tee": {"length": 120, "branch_length": 40}, "saddle": {"branch_length": 40}}


def branch_of(kind, **params):
    dev = make(kind, **LONG[kind], **params)
    return dev, next(segment for segment in dev.segments if segment.role == "branch")


def from_axis(branch, psi):
    """Along the branch's axis from the main's to the cut, at angles round the branch from the crotch."""
    return (40 - length_at(branch, psi)).tolist()


def half_a_place(number):
    exponent = number.as_tuple().exponent if isinstance(number, Decimal) else 0
    return 0.5 * 10.0**exponent


def compared(values):
    return values if isinstance(values, list) else [values]
