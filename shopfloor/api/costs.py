"""/api/v1/costs/, an order's costs, prices and quotes. The office's alone. Amounts are digits in a text."""

from __future__ import annotations

from dataclasses import asdict
from decimal import Decimal
from typing import Any

from django.http import HttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings.costing import Cost
from fittings.idempotency import answer_once
from fittings.money import currency_sign
from fittings.selectors import order_by_number
from shared.api import json_object
from shared.problems import FieldError, WrongInput
from shared.roles import OFFICE, actor_of
from shopfloor import month_costs as months
from shopfloor.order_costs import LineCost, order_figures
from shopfloor.real_costs import FittingCost, fitting_costs
from travelers import prices, quotes

MOST_FITTINGS = 200
AMOUNT = {"max_digits": 14, "decimal_places": 2, "allow_null": True}


def _amount(help_text: str = "") -> serializers.DecimalField:
    return serializers.DecimalField(**AMOUNT, help_text=help_text)


class CostOut(serializers.Serializer):
    metal = _amount()
    labor = _amount()
    overhead = _amount()
    total = _amount("null: a part of it is not known.")


class RealOut(serializers.Serializer):
    done = serializers.IntegerField()
    not_known = serializers.IntegerField(
        help_text="Done fittings whose price or cost is not known: not in the amounts."
    )
    price = _amount()
    cost = CostOut()
    lost = _amount("Part of the cost: scrapped, cancelled, put into stock.")
    so_far = CostOut(help_text="What fittings that are not finished have cost.")
    measured_minutes = serializers.DecimalField(max_digits=12, decimal_places=3)
    standard_minutes = serializers.DecimalField(max_digits=12, decimal_places=3)
    segments_by_plan = serializers.IntegerField()
    segments_by_area = serializers.IntegerField()


class LineCostOut(serializers.Serializer):
    line = serializers.IntegerField()
    quantity = serializers.IntegerField()
    unit_price = _amount()
    how = serializers.CharField(help_text="Where the price comes from.")
    reason = serializers.CharField(allow_blank=True)
    is_frozen = serializers.BooleanField(help_text="As it was at release.")
    price = _amount("Of the whole line.")
    expected_each = CostOut()
    expected_margin = _amount("Of the whole line.")
    problem = serializers.CharField(allow_blank=True)
    real = RealOut(allow_null=True)


class FittingCostOut(serializers.Serializer):
    code = serializers.CharField()
    line = serializers.IntegerField()
    number = serializers.IntegerField()
    state = serializers.CharField()
    cost = CostOut()
    measured_minutes = serializers.DecimalField(max_digits=12, decimal_places=3)
    standard_minutes = serializers.DecimalField(max_digits=12, decimal_places=3)


class OrderCostsOut(serializers.Serializer):
    order = serializers.CharField()
    currency = serializers.CharField(help_text="The shop's sign.")
    price = _amount()
    expected = CostOut()
    expected_margin = _amount()
    as_of = serializers.DateTimeField(allow_null=True, help_text="Of the real costs; null: as they are now.")
    lines = LineCostOut(many=True)
    fittings = FittingCostOut(many=True, required=False)


class GroupOut(serializers.Serializer):
    name = serializers.CharField()
    customer = serializers.CharField()
    orders = serializers.IntegerField()
    fittings = serializers.IntegerField()
    price = _amount()
    metal = _amount()
    labor = _amount()
    overhead = _amount()
    cost = _amount()
    margin = _amount()
    lost = _amount()
    expected = _amount()
    expected_price = _amount()
    not_known = serializers.IntegerField()


class MonthOut(serializers.Serializer):
    month = serializers.CharField()
    by = serializers.CharField()
    count = serializers.CharField()
    currency = serializers.CharField()
    due = serializers.IntegerField(help_text="Orders that are being added up again.")
    whole = GroupOut()
    results = GroupOut(many=True)


class PriceIn(serializers.Serializer):
    line = serializers.IntegerField(min_value=1)
    unit_price = serializers.DecimalField(
        max_digits=9, decimal_places=2, allow_null=True, help_text="null: by the price list again."
    )
    reason = serializers.CharField(required=False, allow_blank=True, max_length=200)


class QuoteIn(serializers.Serializer):
    days = serializers.IntegerField(
        required=False, min_value=1, max_value=quotes.MOST_DAYS, help_text="Left out: the shop's usual."
    )
    note = serializers.CharField(required=False, allow_blank=True, max_length=quotes.LONGEST_NOTE)


class QuoteMarkIn(serializers.Serializer):
    state = serializers.ChoiceField(choices=list(quotes.ACTS.values()))


class QuoteLineOut(serializers.Serializer):
    line = serializers.IntegerField()
    quantity = serializers.IntegerField()
    text = serializers.CharField()
    metal = serializers.CharField()
    ends = serializers.CharField(allow_blank=True)
    tag = serializers.CharField(allow_blank=True)
    unit_price = _amount()
    total = _amount()


class QuoteOut(serializers.Serializer):
    number = serializers.IntegerField()
    order = serializers.CharField()
    version = serializers.IntegerField(help_text="Counts the quotes of the order.")
    order_version = serializers.IntegerField()
    state = serializers.CharField(help_text="made, sent, accepted, declined")
    valid_until = serializers.DateField()
    is_over = serializers.BooleanField()
    total = _amount()
    currency = serializers.CharField()
    terms = serializers.CharField(allow_blank=True)
    note = serializers.CharField(allow_blank=True)
    made_at = serializers.DateTimeField()
    made_by = serializers.CharField()
    sent_at = serializers.DateTimeField(allow_null=True)
    answered_at = serializers.DateTimeField(allow_null=True)
    lines = QuoteLineOut(many=True)


class QuotesOut(serializers.Serializer):
    results = QuoteOut(many=True)


# -- costs -------------------------------------------------------------------------


@extend_schema(
    operation_id="costs_month",
    tags=["costs"],
    parameters=[
        OpenApiParameter(
            "month", OpenApiTypes.STR, description="Such as 2026-11; left out: the running one."
        ),
        OpenApiParameter("by", OpenApiTypes.STR, enum=[name for name, _ in months.BY]),
        OpenApiParameter(
            "count",
            OpenApiTypes.STR,
            enum=[name for name, _ in months.COUNTS],
            description="fittings: what was finished in the month; orders: all of the orders that ended in it.",
        ),
    ],
    responses=schema.answers(400, _200=MonthOut),
)
@api_view(["GET"])
def month_costs(request):
    """What a month's fittings cost and are sold for, by customer or by order."""
    actor_of(request, OFFICE)
    query = request.query_params
    month = months.month_read(query.get("month"), timezone.localdate())
    by = months.one_of(query.get("by"), months.BY, "by")
    count = months.one_of(query.get("count"), months.COUNTS, "count")
    found = months.month_costs(month, count=count)
    groups = found.grouped(by)
    return Response(
        {
            "month": f"{month:%Y-%m}",
            "by": by,
            "count": count,
            "currency": currency_sign(),
            "due": found.due,
            "whole": _group(found.whole),
            "results": [_group(one) for one in groups],
        }
    )


def _group(one: months.Group) -> dict[str, Any]:
    sums = one.sums
    amounts = ("price", "metal", "labor", "overhead", "cost", "margin", "lost", "expected", "expected_price")
    return {
        "name": one.name,
        "customer": one.customer,
        "orders": one.orders,
        "fittings": sums.fittings,
        **{name: str(getattr(sums, name)) for name in amounts},
        "not_known": sums.unknown,
    }


@extend_schema(
    operation_id="orders_costs",
    tags=["costs"],
    parameters=[
        OpenApiParameter(
            "fittings",
            OpenApiTypes.BOOL,
            description=f"true: each fitting too; of orders of at most {MOST_FITTINGS} fittings.",
        )
    ],
    responses=schema.answers(400, 404, _200=OrderCostsOut),
)
@api_view(["GET"])
def order_costs(request, number: str):
    """What an order is expected to cost, what it is sold for, and what it really costs so far."""
    actor_of(request, OFFICE)
    order = order_by_number(number)
    figures = order_figures(order)
    real = {one.line: one for one in figures.real or ()}
    answer = {
        "order": order.number,
        "currency": currency_sign(),
        "price": _text(figures.prices.price),
        "expected": _cost(figures.prices.cost),
        "expected_margin": _text(figures.prices.margin),
        "as_of": figures.as_of and figures.as_of.isoformat(),
        "lines": [_line(one, real.get(one.line.position)) for one in figures.prices.lines],
    }
    if request.query_params.get("fittings") == "true":
        answer["fittings"] = _fittings(order)
    return Response(answer)


def _fittings(order) -> list[dict[str, Any]]:
    if order.fittings_total > MOST_FITTINGS:
        text = f"Order {order.number} has {order.fittings_total} fittings; each is told of at most {MOST_FITTINGS}."
        raise WrongInput([FieldError("fittings", "true", f"at most {MOST_FITTINGS} fittings", text)])
    positions = dict(order.all_lines.values_list("pk", "position"))
    return [_fitting(one, positions[one.line]) for one in fitting_costs(order)] if order.released_at else []


def _fitting(one: FittingCost, position: int) -> dict[str, Any]:
    return {
        "code": one.code,
        "line": position,
        "number": one.number,
        "state": one.state,
        "cost": _cost(one.cost),
        "measured_minutes": str(one.measured),
        "standard_minutes": str(one.standard),
    }


def _line(one: prices.PricedLine, real: LineCost | None) -> dict[str, Any]:
    return {
        "line": one.line.position,
        "quantity": one.quantity,
        "unit_price": _text(one.unit_price),
        "how": one.how,
        "reason": one.reason,
        "is_frozen": one.is_frozen,
        "price": _text(one.price),
        "expected_each": _cost(one.cost),
        "expected_margin": _text(one.margin),
        "problem": one.problem,
        "real": real and _real(real),
    }


def _real(one: LineCost) -> dict[str, Any]:
    return {
        "done": one.done,
        "not_known": one.unknown,
        "price": str(one.price),
        "cost": _cost(one.cost),
        "lost": str(one.lost),
        "so_far": _cost(one.so_far),
        "measured_minutes": str(one.measured),
        "standard_minutes": str(one.standard),
        "segments_by_plan": one.by_plan,
        "segments_by_area": one.by_area,
    }


def _cost(cost: Cost) -> dict[str, str | None]:
    return {name: _text(part) for name, part in asdict(cost).items()} | {"total": _text(cost.total)}


def _text(amount: Decimal | None) -> str | None:
    return None if amount is None else str(amount)


# -- prices ------------------------------------------------------------------------


@extend_schema(
    operation_id="orders_price_set",
    tags=["costs"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=PriceIn,
    responses=schema.answers(400, 404, 409, 413, 415, 422, _200=LineCostOut),
)
@api_view(["POST"])
def order_prices(request, number: str):
    """Set the price of one fitting of a line by hand, with the reason, or give it back to the price list."""
    actor = actor_of(request, OFFICE)
    return answer_once(request, actor, lambda: (200, _price_set(request, number, actor)))


def _price_set(request, number: str, actor) -> dict[str, Any]:
    data = json_object(request)
    line = data.get("line")
    if isinstance(line, bool) or not isinstance(line, int) or not 1 <= line < 10**6:
        limit = "the number of a line, from 1"
        raise WrongInput(
            [FieldError("line", str(line)[:20], limit, f"Line is {str(line)[:20]}; it can be {limit}.")]
        )
    reason = data.get("reason", "")
    if not isinstance(reason, str):
        raise WrongInput([FieldError("reason", None, "a text", "Reason is no text; it can be a text.")])
    if "unit_price" not in data:
        text = "Price is missing; it can be an amount, or null for the price list."
        raise WrongInput([FieldError("unit_price", None, "an amount, or null", text)])
    prices.price_set(
        number=number,
        line=line,
        unit_price=prices.price_read(data["unit_price"]),
        reason=reason,
        actor=actor,
        now=timezone.now(),
    )
    found = prices.order_prices(number)
    return _line(next(one for one in found.lines if one.line.position == line), None)


# -- quotes ------------------------------------------------------------------------


@extend_schema(
    methods=["GET"],
    operation_id="orders_quotes",
    tags=["costs"],
    responses=schema.answers(404, _200=QuotesOut),
)
@extend_schema(
    methods=["POST"],
    operation_id="orders_quote_make",
    tags=["costs"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=QuoteIn,
    responses=schema.answers(400, 404, 409, 413, 415, 422, _201=QuoteOut),
    description="Freeze a draft's lines with their prices as its next quote.",
)
@api_view(["GET", "POST"])
def order_quotes(request, number: str):
    """The quotes of an order, the newest first; make one."""
    actor = actor_of(request, OFFICE)
    if request.method == "GET":
        return Response({"results": quotes.quotes_answer(number, timezone.localdate())})
    return answer_once(request, actor, lambda: (201, _quote_make(request, number, actor)))


def _quote_make(request, number: str, actor) -> dict[str, Any]:
    data = json_object(request) if request.data else {}
    note = data.get("note", "")
    if not isinstance(note, str):
        raise WrongInput([FieldError("note", None, "a text", "Note is no text; it can be a text.")])
    made = quotes.quote_make(number=number, days=data.get("days"), note=note, actor=actor, now=timezone.now())
    return quotes.quote_answer(made, timezone.localdate())


@extend_schema(
    methods=["GET"], operation_id="quotes_get", tags=["costs"], responses=schema.answers(404, _200=QuoteOut)
)
@extend_schema(
    methods=["POST"],
    operation_id="quotes_mark",
    tags=["costs"],
    request=QuoteMarkIn,
    responses=schema.answers(400, 404, 409, 413, 415, _200=QuoteOut),
    description="Mark it as sent, accepted or declined. Accepting freezes its prices for the order.",
)
@api_view(["GET", "POST"])
def quote(request, quote: int):
    """One quote; mark it as sent, accepted or declined."""
    actor = actor_of(request, OFFICE)
    if request.method == "POST":
        state = json_object(request).get("state")
        quotes.quote_mark(number=quote, state=state, actor=actor, now=timezone.now())
    return Response(quotes.quote_answer(quotes.quote_of(quote), timezone.localdate()))


@extend_schema(
    tags=["papers"],
    parameters=[OpenApiParameter("quote", OpenApiTypes.INT, description="Its number; left out: the newest.")],
    responses={(200, "application/pdf"): OpenApiTypes.BINARY},
)
@api_view(["GET"])
def quote_pdf(request, number: str):
    """A quote of an order as PDF: what was offered, as it was frozen."""
    actor_of(request, OFFICE)
    text = request.query_params.get("quote", "")
    if text and not (text.isdecimal() and len(text) < 10):
        limit = "the number of a quote"
        raise WrongInput(
            [FieldError("quote", text[:20], limit, f"Quote is “{text[:20]}”; it can be {limit}.")]
        )
    content = quotes.quote_pdf(number=number, quote=int(text) if text else None, now=timezone.now())
    response = HttpResponse(content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="quote-{number}.pdf"'
    return response
