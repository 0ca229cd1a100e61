"""Few fixtures, all short; the sheet is so thin that the developed diameter is the given one."""

import importlib
import json
import sys
from pathlib import Path

import pytest

# With `tests/` as pytest's rootdir this folder itself is imported as `fittings.geometry` where nothing has
# imported the real package before: put the real one back.
if getattr(sys.modules.get("fittings.geometry"), "__file__", None) is None:
    sys.modules.pop("fittings.geometry", None)
    importlib.import_module("fittings.geometry")

from fittings.geometry import Allowances, Practice, Sheet, develop  # noqa: E402

AUTHORITIES = Path(__file__).parents[3] / "fixtures" / "authorities"
THIN = 1e-9  # in


@pytest.fixture
def authorities():
    """The worked cases of gored elbows by id."""
    found = json.loads((AUTHORITIES / "gored_elbow.json").read_text(encoding="utf-8"))
    return {
        case["id"]: case for part in ("printed_cases", "methods", "derived_cases") for case in found[part]
    }


@pytest.fixture
def printed_pieces():
    return json.loads((AUTHORITIES / "elbow_pieces.json").read_text(encoding="utf-8"))["rows"]


@pytest.fixture
def elbow():
    """elbow(diameter=14, …, allowances=Allowances(), thickness=…, longest=…, unit=…) → Development"""

    def make(
        *, allowances=None, thickness=THIN, weight=1.156, longest=None, practice=None, unit="in", **params
    ):
        return develop(
            "gored_elbow",
            {"diameter": 14, "angle": 90, "pieces": 5} | params,
            sheet=Sheet("galvanized", 24, thickness, weight, longest),
            allowances=allowances or Allowances(),
            practice=practice or Practice(),
            unit=unit,
        )

    return make
