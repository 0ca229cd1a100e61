"""One or more developments of each kind that there is, as the API answers them, for the tests of its drawings."""

from functools import cache

from fittings.geometry import KINDS, Allowances, Practice, Sheet, develop, development_as_dict

SHEET = Sheet("galvanized", 24, 0.0276, 1.156, 120, 60)
HEAVY = Sheet("galvanized", 16, 0.0635, 2.656, 120, 60)
ALLOWANCES = Allowances(lap=0.5, edge_a=0.25, edge_b=0.375)

PARAMS = {
    "gored_elbow": {
        "five": {"diameter": 14, "angle": 90, "pieces": 5},
        "thin": {"diameter": 4, "angle": 10, "pieces": 5, "radius_ratio": 0.8},
        "plates": {"diameter": 60, "angle": 90, "pieces": 7},
        "collars": {
            "diameter": 14,
            "angle": 60,
            "pieces": 4,
            "collar_a": 4,
            "collar_b": 2.5,
            "seam_at": "side",
        },
    },
    "reducer": {
        "plain": {"diameter_a": 20, "diameter_b": 14, "length": 12},
        "collars": {"diameter_a": 20, "diameter_b": 14, "length": 12, "collar_a": 2, "collar_b": 3},
        "offset": {"diameter_a": 20, "diameter_b": 14, "length": 12, "offset": 3, "collar_a": 2},
        "flat": {"diameter_a": 24, "diameter_b": 18, "length": 1.5},
        "plates": {"diameter_a": 60, "diameter_b": 50, "length": 40},
        "back": {"diameter_a": 10, "diameter_b": 14, "length": 12, "offset": 2},
    },
    "offset": {
        "short": {"diameter": 8, "offset": 10, "angle": 45, "pieces": 3},
        "long": {"diameter": 12, "offset": 30, "angle": 30, "pieces": 3},
        "rolled": {"diameter": 8, "offset": 8, "roll": 6, "angle": 45, "pieces": 3},
    },
    "end_cap": {
        "pan": {"diameter": 12, "depth": 1.5},
        "ring": {"diameter": 12, "depth": 3, "construction": "ring"},
    },
    "tee": {
        "tee": {"diameter": 12, "branch_diameter": 8, "angle": 90, "length": 20, "branch_length": 12},
        "lateral": {"diameter": 12, "branch_diameter": 8, "angle": 45, "length": 30, "branch_length": 20},
        "aside": {
            "diameter": 14,
            "branch_diameter": 6,
            "length": 20,
            "branch_length": 12,
            "branch_offset": 3,
        },
        "equal": {"diameter": 12, "branch_diameter": 12, "length": 20, "branch_length": 12},
    },
    "saddle": {
        "square": {"diameter": 20, "branch_diameter": 8, "angle": 90, "branch_length": 18},
        "leaning": {"diameter": 20, "branch_diameter": 8, "angle": 60, "branch_length": 18},
    },
    "square_to_round": {
        "plain": {"width": 20, "height": 12, "diameter": 14, "length": 18},
        "aside": {"width": 20, "height": 12, "diameter": 14, "length": 18, "offset_x": 3, "offset_y": 2},
    },
    "pipe": {"pipe": {"diameter": 10, "length": 48}},
    "conical_tee": {
        "tee": {"diameter": 12, "base_diameter": 10, "branch_diameter": 8, "length": 24, "branch_length": 14},
        "collar": {
            "diameter": 14,
            "base_diameter": 9,
            "branch_diameter": 6,
            "length": 30,
            "branch_length": 20,
            "angle": 60,
            "collar": 3,
        },
    },
    "wye": {
        "wide": {"diameter": 14, "branch_diameter": 10, "angle": 45, "main_length": 10, "branch_length": 20},
        "equal": {"diameter": 14, "branch_diameter": 14, "angle": 30, "main_length": 14, "branch_length": 30},
    },
    "reducing_elbow": {
        "plain": {"diameter_a": 14, "diameter_b": 10, "angle": 90, "pieces": 5, "centerline_radius": 21},
        "collars": {
            "diameter_a": 14,
            "diameter_b": 10,
            "angle": 60,
            "pieces": 4,
            "collar_a": 3,
            "collar_b": 4,
        },
    },
}
CASES = [(kind, name) for kind in KINDS for name in PARAMS[kind]]
IDS = [f"{kind}-{name}" for kind, name in CASES]


def params(case: tuple[str, str]) -> dict:
    return PARAMS[case[0]][case[1]]


@cache
def made(case: tuple[str, str], unit: str = "in") -> dict:
    """The development of a case; nobody may change it."""
    kind, name = case
    found = develop(kind, PARAMS[kind][name], sheet=SHEET, allowances=ALLOWANCES, practice=Practice())
    return development_as_dict(found, unit)
