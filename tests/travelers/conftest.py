"""What the tests of the record and of cut plans begin with."""

import pytest

from fittings.models import CutPlan, CutSheet
from tests import factories
from tests import factories_cutting as cutting
from tests.travelers.floor import Floor, floor
from travelers.cut_plans import plan_send


@pytest.fixture
def on(shop) -> Floor:
    return floor()


@pytest.fixture
def desk(office_page):
    """The office, where cuts are planned."""
    return office_page


@pytest.fixture
def plan(shop) -> CutPlan:
    """Forty gores on sheets, not sent."""
    return cutting.made_plan(cutting.released(factories.line(quantity=8)))


@pytest.fixture
def sheet(plan) -> CutSheet:
    """The first sheet of a plan that is on the floor."""
    plan_send(number=plan.number, actor=factories.OFFICE_ACTOR, now=factories.NOW)
    return plan.sheets.order_by("position").first()
