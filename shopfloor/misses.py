"""Wrong sign-ins, counted by account and by station: after 5 in a row closed for 30 s, doubling to 15 minutes.

Who is closed is looked at before the secret is checked, and again when the try is booked: of many tries at once no more
than five learn whether they were right. A right secret never waits for another try of the same account.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import transaction

from shared.problems import TooManyTries
from shared.turn import write_turn
from shopfloor.models import SignInMisses

FREE_MISSES = 5
FIRST_WAIT_S = 30
LONGEST_WAIT_S = 15 * 60
FORGOTTEN_AFTER = timedelta(days=1)


def wait_after(misses: int) -> int:
    """Seconds for which a subject is closed after so many misses in a row.

    >>> [wait_after(n) for n in (4, 5, 6, 9, 10, 400)]
    [0, 30, 60, 480, 900, 900]
    """
    if misses < FREE_MISSES:
        return 0
    return min(FIRST_WAIT_S * 2 ** min(misses - FREE_MISSES, 10), LONGEST_WAIT_S)


def check_open(*, subjects: Iterable[str], now: datetime) -> None:
    """raises  TooManyTries with the seconds to wait, where any of the subjects is closed"""
    _refuse(SignInMisses.objects.filter(subject__in=list(subjects), closed_until__gt=now), now)


def try_book(*, subjects: Iterable[str], is_right: bool, now: datetime) -> None:
    """Book a try: a right one forgets the misses, a wrong one counts for every subject.

    raises  TooManyTries where a subject was closed meanwhile; the try then counts for nothing, right or wrong
    """
    subjects = sorted(subjects)
    with write_turn(), transaction.atomic():
        if not is_right:
            SignInMisses.objects.bulk_create(
                [SignInMisses(subject=subject) for subject in subjects], ignore_conflicts=True
            )
        rows = list(SignInMisses.objects.select_for_update().filter(subject__in=subjects).order_by("subject"))
        _refuse(rows, now)
        if is_right:
            SignInMisses.objects.filter(pk__in=[row.pk for row in rows]).delete()
            return
        for row in rows:
            row.misses += 1
            row.closed_until = now + timedelta(seconds=wait_after(row.misses))
        SignInMisses.objects.bulk_update(rows, ["misses", "closed_until"])
        SignInMisses.objects.filter(closed_until__lt=now - FORGOTTEN_AFTER).delete()


def _refuse(rows: Iterable[SignInMisses], now: datetime) -> None:
    closed = [row.closed_until for row in rows if row.closed_until and row.closed_until > now]
    if closed:
        seconds = math.ceil((max(closed) - now).total_seconds())
        raise TooManyTries(
            f"Too many wrong tries. Wait {seconds} seconds, then try again.", retry_after=max(seconds, 1)
        )
