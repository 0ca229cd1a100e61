"""How many cases a property is tried with: as many as its test says, times SHOPFLOOR_CASES."""

import os

TIMES = int(os.environ.get("SHOPFLOOR_CASES", "1"))
"""10 before a release: `SHOPFLOOR_CASES=10 .venv/bin/python -m pytest tests -k …`."""


def cases(usual: int) -> int:
    return usual * TIMES
