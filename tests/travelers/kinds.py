"""One fitting of every kind that can be made, and some more forms of them; what is done to each piece, by hand."""

from __future__ import annotations

from typing import Any

GOOD: dict[str, dict[str, Any]] = {
    "gored_elbow": {"diameter": 14, "angle": 90, "pieces": 4},
    "reducer": {"diameter_a": 14, "diameter_b": 10, "length": 12, "collar_a": 2, "collar_b": 2},
    "offset": {"diameter": 12, "offset": 10, "angle": 30, "pieces": 3},
    "end_cap": {"diameter": 14, "depth": 1.5, "construction": "ring"},
    "tee": {"diameter": 14, "branch_diameter": 8, "length": 20, "branch_length": 14},
    "saddle": {"diameter": 20, "branch_diameter": 8, "branch_length": 18},
    "square_to_round": {"width": 12, "height": 16, "diameter": 14, "length": 12},
    "pipe": {"diameter": 14, "length": 48},
    "conical_tee": {
        "diameter": 14,
        "base_diameter": 10,
        "branch_diameter": 8,
        "length": 24,
        "branch_length": 16,
        "collar": 2,
    },
    "wye": {"diameter": 14, "branch_diameter": 10, "main_length": 8, "branch_length": 16},
    "reducing_elbow": {"diameter_a": 14, "diameter_b": 10, "angle": 90, "pieces": 5, "collar_a": 2},
}
MORE: list[tuple[str, dict[str, Any]]] = [
    ("reducer", {"diameter_a": 14, "diameter_b": 10, "length": 18, "offset": 2}),
    ("end_cap", {"diameter": 14, "depth": 1.5, "construction": "turned"}),
    ("tee", {"diameter": 14, "branch_diameter": 8, "length": 30, "branch_length": 20, "angle": 45}),
    ("pipe", {"diameter": 60, "length": 48}),
]
CASES = [*GOOD.items(), *MORE]
IDS = [*GOOD, "offset reducer", "turned cap", "lateral", "pipe of plates"]

ONLY_CUT = {"disc"}
"""Roles of pieces that are cut and no more: common practice, no source."""
METHODS = {
    ("reducer", "cone"): "Roll to a cone",
    ("conical_tee", "branch"): "Roll to a cone",
    ("wye", "branch"): "Roll to a cone",
    ("reducing_elbow", "end_gore"): "Roll to a cone",
    ("reducing_elbow", "middle_gore"): "Roll to a cone",
    ("square_to_round", "transition"): "Brake to the bend lines",
}
"""How a piece is formed where it is not rolled to a cylinder: common practice, no source."""
