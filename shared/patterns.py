"""Sample data for the page that shows every part once in each place of use (/patterns/)."""

from __future__ import annotations

from datetime import UTC, datetime
from math import cos, pi, sin

from django import forms
from django.core.paginator import Paginator

from shared.pile import pile
from shared.problems import Conflict
from shared.templatetags.parts import STATE_WORDS

PLACES = (("office", "Office"), ("tablet", "Station tablet"), ("tv", "Board"))
FIELD_SIZES = ("tiny", "short", "number", "length", "code")
AS_OF = datetime(2026, 3, 4, 19, 2, tzinfo=UTC)


class SampleForm(forms.Form):
    """One of each control; bound with wrong input, so that the errors show."""

    diameter = forms.CharField(label="Diameter (in)", help_text="3 to 60 in, such as 14 1/2 or 14.5")
    tag = forms.CharField(label="Tag", required=False)
    gauge = forms.ChoiceField(label="Gauge", choices=[("24", "24 galvanized"), ("22", "22 galvanized")])
    note = forms.CharField(label="Note for the floor", required=False, widget=forms.Textarea)
    wrap = forms.BooleanField(label="Wrap before it leaves", required=False)
    ends = forms.ChoiceField(
        label="Ends",
        widget=forms.RadioSelect,
        error_messages={"required": "Choose how the ends are finished."},
        choices=[("raw", "Raw"), ("flange", "Flange"), ("swage", "Swage")],
    )

    def clean_diameter(self):
        raise forms.ValidationError("Enter the diameter, 3 to 60 in. 144 in is more than any station takes.")


def elbow_paths(
    pieces: int = 5, radius: float = 21.0, diameter: float = 14.0, collar: float = 4.0
) -> dict[str, str]:
    """Side view of a gored 90° elbow as path data, in inches: outline, seams, centreline."""
    half = pi / 2 / (2 * (pieces - 1))
    margin = 4.0
    size = radius + diameter / 2 + collar

    def at(angle: float, distance: float) -> tuple[float, float]:
        return (margin + size - distance * cos(angle), margin + size - collar - distance * sin(angle))

    def joint(number: int, offset: float) -> tuple[float, float]:
        return at((2 * number + 1) * half, (radius + offset) / cos(half))

    def side(offset: float) -> list[tuple[float, float]]:
        foot, top = at(0, radius + offset), at(pi / 2, radius + offset)
        return [
            (foot[0], foot[1] + collar),
            *[joint(number, offset) for number in range(pieces - 1)],
            (top[0] + collar, top[1]),
        ]

    def path(points) -> str:
        return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in points)

    outer, inner = side(diameter / 2), side(-diameter / 2)
    return {
        "outline": path([*outer, *reversed(inner)]) + "Z",
        "seams": "".join(path(pair) for pair in zip(outer[1:-1], inner[1:-1], strict=True)),
        "axis": path(side(0.0)),
        "view": f"0 0 {size + collar + 2 * margin:.1f} {size + 2 * margin:.1f}",
        "foot_left": f"{outer[0][0]:.2f}",
        "foot_right": f"{inner[0][0]:.2f}",
        "foot": f"{outer[0][1] + 2.2:.2f}",
        "foot_text": f"{outer[0][1] + 1.6:.2f}",
        "middle": f"{(outer[0][0] + inner[0][0]) / 2:.2f}",
    }


def _bay(name: str, hours: list[float], clears: float, foot: str, held: int = -1) -> dict:
    work = [
        (
            value,
            "held" if index == held else "running" if index == 0 else "ready",
            f"{name}: {value} h",
        )
        for index, value in enumerate(hours)
    ]
    shapes = pile(work, clears_hours=clears, scale_hours=16)
    return {"name": name, "count": len(hours), "foot": foot, "pile": shapes}


def _bays() -> list[dict]:
    return [
        _bay("Cut", [0.6, 0.9, 0.5, 1.1, 0.7], 6.5, "4 h"),
        _bay("Roll", [1.2, 0.8, 1.4, 0.9, 1.6, 1.1, 0.7, 1.3, 1.5, 0.9, 0.8, 1.2], 6.0, "13 h"),
        _bay("Seam", [0.5, 0.6, 0.9], 6.5, "2 h"),
        _bay("Assemble", [1.5, 1.2, 0.8], 5.0, "4 h", held=2),
        _bay("Ends", [0.4, 0.3], 6.5, "1 h"),
        _bay("Paint", [0.1] * 60, 6.5, "6 h"),
        _bay("Wrap", [0.2, 0.2, 0.3, 0.2], 6.5, "1 h"),
    ]


def _row(code: str, what: str, diameter: float, seam: float, pieces: int, state: str) -> dict:
    return {"code": code, "what": what, "diameter": diameter, "seam": seam, "pieces": pieces, "state": state}


def patterns_context() -> dict:
    rows = [
        _row("R70042PB", "Elbow 90°, 5 pieces", 14.0, 44.07, 12, "running"),
        _row("R70043KM", "Reducer", 18.0, 56.65, 4, "held"),
        _row("R700448X", "Lateral 45°", 10.0, 31.5, 2, "ready"),
        _row("R70045QD", "Elbow 45°, 3 pieces", 8.25, 26.02, 30, "late"),
    ]
    return {
        "places": [
            {
                "name": name,
                "label": label,
                "form": SampleForm(
                    {f"{name}-diameter": "144", f"{name}-tag": "AHU-3", f"{name}-gauge": "24"}, prefix=name
                ),
            }
            for name, label in PLACES
        ],
        "states": list(STATE_WORDS),
        "rows": rows,
        "sizes": FIELD_SIZES,
        "page_obj": Paginator(range(312), 50).page(2),
        "unchanged": Conflict("Order 1042 was released meanwhile. Load the page again."),
        "elbow": elbow_paths(),
        "bays": _bays(),
        "as_of": AS_OF,
        "pad_keys": ["1", "2", "3", "4", "5", "6", "7", "8", "9"],
    }
