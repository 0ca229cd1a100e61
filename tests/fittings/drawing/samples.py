"""Developments made by hand for the drawings' tests: own short formulas, not the geometry package."""

from __future__ import annotations

import math


def elbow(
    diameter=14.0,
    angle=90.0,
    pieces=5,
    radius=None,
    *,
    thickness=0.0276,
    gauge=24,
    lap=0.5,
    edge=0.25,
    collar_a=0.0,
    collar_b=0.0,
    start_angle=180.0,
    plates=0,
    samples=48,
    warnings=(),
):
    """A gored elbow's development as the API answers it, inches; outlines h(psi) = (R - r cos psi) tan(alpha)."""
    centerline = radius if radius is not None else 1.5 * diameter
    mean = (diameter + thickness) / 2
    alpha = math.radians(angle) / (2 * (pieces - 1))
    stretch = 2 * math.pi * mean
    segments = []
    for position in range(1, pieces + 1):
        is_end = position in (1, pieces)
        collar = collar_a if position == 1 else collar_b if position == pieces else 0.0
        xs = [stretch * i / samples for i in range(samples + 1)]

        def height(x, stretch=stretch):
            psi = math.radians(start_angle) + 2 * math.pi * x / stretch
            return (centerline - mean * math.cos(psi)) * math.tan(alpha)

        if is_end:
            edge_a = [(x, 0.0) for x in xs]
            edge_b = [(x, collar + height(x)) for x in xs]
        else:
            edge_a = [(x, -height(x)) for x in xs]
            edge_b = [(x, height(x)) for x in xs]
        net = [*edge_a, *reversed(edge_b)]
        low = [(x, y - edge) for x, y in edge_a]
        high = [(x, y + edge) for x, y in edge_b]
        cut = [*low, (stretch + lap, low[-1][1]), (stretch + lap, high[-1][1]), *reversed(high)]
        marks = []
        for name, psi in (("throat", 0.0), ("side", 90.0), ("heel", 180.0), ("side", 270.0)):
            x = ((psi - start_angle) % 360) / 360 * stretch
            bottom = 0.0 if is_end else -height(x)
            marks.append({"name": name, "line": [[x, bottom], [x, (collar if is_end else 0) + height(x)]]})
        ys = [y for _, y in cut]
        factor = 1 if is_end else 2
        segment = {
            "position": position,
            "role": "end_gore" if is_end else "middle_gore",
            "pattern": f"end{collar}" if is_end else "middle",
            "stretch_out": stretch,
            "throat": factor * (centerline - mean) * math.tan(alpha) + collar,
            "heel": factor * (centerline + mean) * math.tan(alpha) + collar,
            "lap": lap,
            "start_angle": start_angle,
            "net_outline": [list(p) for p in net],
            "cut_outline": [list(p) for p in cut],
            "edge_a": [list(p) for p in edge_a],
            "edge_b": [list(p) for p in edge_b],
            "marks": marks,
            "net_area": stretch * factor * centerline * math.tan(alpha) + stretch * collar,
            "cut_area": 0.0,
            "weight": 1.5,
            "blank": {"width": stretch + lap, "height": max(ys) - min(ys)},
        }
        if plates:
            wide = stretch / plates + lap
            tall = max(ys) - min(ys)
            outline = [[0, 0], [wide, 0], [wide, tall], [0, tall]]
            plate = {"cut_outline": outline, "blank": {"width": wide, "height": tall}, "lap": lap}
            segment["plates"] = [dict(plate) for _ in range(plates)]
        segments.append(segment)
    return {
        "kind": "gored_elbow",
        "unit": "in",
        "gauge": gauge,
        "thickness": thickness,
        "dimensions": {
            "pieces": pieces,
            "gore_angle": math.degrees(2 * alpha),
            "miter_angle": math.degrees(alpha),
            "centerline_radius": centerline,
            "throat_radius": centerline - diameter / 2,
            "heel_radius": centerline + diameter / 2,
        },
        "segments": segments,
        "net_area": sum(s["net_area"] for s in segments),
        "cut_area": 0.0,
        "weight": 1.5 * pieces,
        "warnings": list(warnings),
    }
