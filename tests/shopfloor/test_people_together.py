"""Two at the same moment: the last of a role stays, and one code opens the shop once."""

from __future__ import annotations

import pytest

from shared.problems import Conflict, WrongInput
from shopfloor import first_steps, people
from shopfloor.models import Person
from tests.factories import OFFICE_ACTOR
from tests.threads import together

from .conftest import NOW

pytestmark = pytest.mark.django_db(transaction=True)


def test_two_who_close_each_other_at_the_same_moment_leave_one(live_shop):
    for name in ("olive", "oscar"):
        Person.objects.create_user(name, password="four seams and a hem", role="office")

    def close(name: str) -> str:
        try:
            people.person_change(username=name, data={"is_active": False}, actor=OFFICE_ACTOR, now=NOW)
        except Conflict:
            return "kept"
        return "closed"

    told = together(*(lambda name=name: close(name) for name in ("olive", "oscar")))
    assert sorted(told) == ["closed", "kept"]
    assert Person.objects.filter(is_active=True).count() == 1


def test_a_code_that_two_use_at_the_same_moment_makes_one_account(live_shop):
    code = first_steps.setup_code_make(now=NOW)

    def open_shop(name: str) -> str:
        try:
            first_steps.shop_open(
                code=code, username=name, full_name=name, password="four seams and a hem", now=NOW
            )
        except (Conflict, WrongInput):
            return "refused"
        return "opened"

    told = together(*(lambda name=name: open_shop(name) for name in ("olive", "oscar", "otto")))
    assert sorted(told) == ["opened", "refused", "refused"]
    assert Person.objects.count() == 1
