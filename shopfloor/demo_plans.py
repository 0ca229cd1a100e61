"""The cut plans of the demo shop: asked for, made and sent through the services, the worker's part done at once."""

from __future__ import annotations

from datetime import datetime

from django.utils import timezone

from fittings.cutting import QUICK
from fittings.models import CutPlan, StockItem
from fittings.stock import stock_for
from shared.jobs import Run, Work, work_once
from shared.roles import Actor
from travelers.cut_job import cut_plan_failed, cut_plan_make
from travelers.cut_plans import CUT_PLAN, plan_request, plan_send
from travelers.cut_work import cut_work

PLANS = 2


def plans_make(*, actor: Actor, now: datetime) -> None:
    """Plans of the two metals with the most work that waits: the first is on the floor, the second can still be sent.

    What is left of the other metals waits for a plan.
    """
    most = sorted(cut_work(today=timezone.localdate(now)), key=lambda work: -work.pieces)
    for number, work in enumerate(most[:PLANS]):
        sheets = [
            item.pk for item in stock_for(work.material, work.gauge) if item.form == StockItem.Form.SHEET
        ]
        plan = plan_request(
            material=work.material,
            gauge=work.gauge,
            stock_ids=sheets[-1:],  # one size, the largest: a plan in moments
            effort=QUICK,
            actor=actor,
            now=now,
        )
        work_once({CUT_PLAN: Work(_make, cut_plan_failed)}, worker="demo", now=lambda: now)
        plan.refresh_from_db()
        if number == 0 and plan.state == CutPlan.State.MADE:
            plan_send(number=plan.number, actor=actor, now=now)


def _make(run: Run) -> None:
    cut_plan_make(run, compare=None)
