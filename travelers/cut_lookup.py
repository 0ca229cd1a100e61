"""A cut plan by its number, a sheet by its id or its code. Only reads."""

from __future__ import annotations

from fittings.models import CutPlan, CutSheet
from shared.problems import Conflict, NotFound
from shared.texts import search_text
from travelers.where import code_read


def plan_by_number(number: int) -> CutPlan:
    """raises  NotFound"""
    plan = CutPlan.objects.filter(number=number).first()
    if plan is None:
        raise NotFound(f"There is no cut plan {number}.")
    return plan


def sheet_by_id(pk: int) -> CutSheet:
    """With its plan. raises NotFound"""
    sheet = CutSheet.objects.select_related("plan").filter(pk=pk).first()
    if sheet is None:
        raise NotFound("There is no such sheet. Its plan may have been made again.")
    return sheet


def sheet_of_code(code: str) -> CutSheet | None:
    """The sheet of a code, as somebody may have typed it, with its plan; None where no sheet has it."""
    found = CutSheet.objects.select_related("plan").exclude(code="")
    return found.filter(code=code_read(code)).first()


def sheet_by_code(code: str) -> CutSheet:
    """With its plan. raises NotFound"""
    sheet = sheet_of_code(code)
    if sheet is None:
        raise NotFound(f"There is no sheet {code_read(code)}.")
    return sheet


def sheet_by_key(key: str) -> CutSheet:
    """By its code, or by its id; with its plan. raises NotFound"""
    if key.isascii() and key.isdecimal():
        found = CutSheet.objects.select_related("plan")
        sheet = found.filter(pk=int(key)).first() if len(key) <= 18 else None
    else:
        sheet = sheet_of_code(key)
    if sheet is None:
        raise NotFound(f"There is no sheet {search_text(key)[:20]}.")
    return sheet


def code_of_sent(sheet: CutSheet) -> str:
    """The code of a sheet that is on the floor. raises Conflict where its plan was not sent"""
    if not sheet.code:
        raise Conflict(
            f"Sheet {sheet.position} of cut plan {sheet.plan.number} is not on the floor yet, so nothing comes off it. "
            "Nothing was changed."
        )
    return sheet.code
