"""Where is it? One field for whatever is at hand: a code, an order's number, a tag, the customer's purchase order."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from typing import Any

from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from fittings.drawing import fitting_text, icon_svg, role_title
from fittings.models import Fitting, OrderLine
from shared.problems import Problem
from shared.roles import OFFICE, OPERATOR, SUPERVISOR, role_required
from travelers.models import Operation
from travelers.where import where as pieces_found

MOST_FITTINGS = 100
LONGEST = 60
FEW, OPENED = 12, 3
"""Up to so many fittings each piece has its own drawing; up to so many the pieces stand open."""


@require_safe
@role_required(OFFICE, SUPERVISOR, OPERATOR)
def where(request):
    asked = " ".join(request.GET.get("q", "").split())[:LONGEST]
    context: dict[str, Any] = {
        "asked": asked,
        "place": "tablet" if request.actor.role == OPERATOR else "office",
        "answer": None,
        "refusal": "",
    }
    if asked:
        try:
            context["answer"] = where_answer(asked)
        except Problem as problem:
            context["refusal"] = problem.detail
    status = 404 if context["refusal"] else 200
    return render(request, "shopfloor/where.html", context, status=status)


def where_answer(asked: str) -> dict[str, Any]:
    """The selector's answer, with drawings and words for the page. A constant number of queries.

    raises  NotFound
    """
    answer = pieces_found(asked, MOST_FITTINGS)
    names = dict(Operation.objects.order_by("position").values_list("code", "name"))
    lines = _Lines(answer["results"])
    now = timezone.now()
    icons = _Icons(lines)
    answer["is_short"] = len(answer["results"]) <= FEW
    answer["is_open"] = len(answer["results"]) <= OPENED
    places: Counter[str] = Counter()
    for fitting in answer["results"]:
        development = lines.development(fitting)
        pieces = [piece for piece in fitting["segments"] if piece["asked"]]
        fitting["icon"] = icons.of(fitting, pieces[0]["position"] if pieces else None)
        fitting["text"] = fitting_text(development) if development else fitting["kind"].replace("_", " ")
        fitting["age"] = _age(fitting["where"]["since"], now)
        for piece in fitting["segments"]:
            piece["title"] = role_title(piece["role"])
            piece["at"] = names.get(piece["operation"], piece["operation"] or "")
            piece["age"] = _age(piece["since"], now)
            piece["icon"] = icons.of(fitting, piece["position"]) if answer["is_short"] else ""
            places[piece["operation"]] += piece["state"] != "scrapped"
        fitting["is_asked"] = bool(pieces) and not answer["sheet"]  # a sheet's would all stand open
    orders = {fitting["order"] for fitting in answer["results"]}
    answer["one_order"] = orders.pop() if len(orders) == 1 else ""
    answer["pieces"] = sum(len(fitting["segments"]) for fitting in answer["results"])
    answer["places"] = [{"name": name, "count": places[code]} for code, name in names.items()]
    answer["places"].append({"name": "Finished", "count": places[None]})
    return answer


class _Lines:
    """The lines that fittings are of, and the frozen development of each, read once. Two queries."""

    def __init__(self, results: list[dict[str, Any]]):
        codes = [fitting["code"] for fitting in results]
        self._of = dict(Fitting.objects.filter(code__in=codes).values_list("code", "line_id"))
        lines = OrderLine.objects.filter(pk__in=set(self._of.values()))
        self._developments = dict(lines.values_list("pk", "development"))

    def line(self, fitting: dict[str, Any]) -> int | None:
        return self._of.get(fitting["code"])

    def development(self, fitting: dict[str, Any]) -> Any:
        return self._developments.get(self.line(fitting))


class _Icons:
    """The small line drawings of these lines; each is drawn once however many pieces show it."""

    def __init__(self, lines: _Lines):
        self._lines = lines
        self._drawn: dict[tuple, str] = {}

    def of(self, fitting: dict[str, Any], position: int | None) -> str:
        development = self._lines.development(fitting)
        if not development:
            return ""
        key = (self._lines.line(fitting), position)
        if key not in self._drawn:
            self._drawn[key] = icon_svg(development, highlight=position)
        return self._drawn[key]


def _age(since, now) -> timedelta | None:
    return max(now - since, timedelta(0)) if since else None
