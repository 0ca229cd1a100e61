"""What a file may be at most, the same for the page and for programs; and the clock that holds it to 20 seconds."""

from __future__ import annotations

from collections.abc import Callable

from shared.problems import FieldError, TooLarge, WrongInput

MEBIBYTE = 1024 * 1024
MOST_PACKED = 5 * MEBIBYTE
MOST_UNPACKED = 50 * MEBIBYTE
MOST_ROWS = 5_000
MOST_COLUMNS = 60
LONGEST_CELL = 1_000
MOST_SECONDS = 20
ROWS_ABOVE = 20  # titles and the like that may stand above the heads
MOST_BLANK_ROWS = 100_000


class Deadline:
    """Twenty seconds from now, by a clock in seconds."""

    def __init__(self, clock: Callable[[], float], seconds: float = MOST_SECONDS):
        self._clock = clock
        self._ends = clock() + seconds

    def check(self) -> None:
        """raises TooLarge where the time is over"""
        if self._clock() > self._ends:
            raise TooLarge(
                f"The file takes longer than {MOST_SECONDS} s to read. Split it and send the parts."
            )


def unreadable(name: str, limit: str, message: str) -> WrongInput:
    """The refusal of a file that is none of ours, as one wrong field."""
    return WrongInput([FieldError("file", name[:100], limit, message)])


def check_packed(size: int) -> None:
    """raises TooLarge above 5 MiB"""
    if size > MOST_PACKED:
        raise TooLarge(
            f"The file has {size} bytes; at most {MOST_PACKED} (5 MiB) are taken.",
            [FieldError("file", size, f"at most {MOST_PACKED} bytes", f"The file has {size} bytes.")],
        )
