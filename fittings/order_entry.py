"""An order as it is typed: its head and its lines as forms, and the way to the order's services and back."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime
from typing import Any

from fittings.customers import customer_names
from fittings.due_date import date_text
from fittings.forms import CARRIED, Choices, LineForm, OrderForm, choices_of, line_initial
from fittings.geometry import KINDS
from fittings.models import Order
from fittings.orders import order_create, order_update
from fittings.reading import MOST_LINES, read_order
from fittings.tables import all_rows
from fittings.typed_orders import token_of, typed_end
from shared.problems import Conflict, FieldError, Problem, WrongInput
from shared.roles import Actor

BLANK_NEW_LINE = "__n__"
LEFT_SENTENCE = "What the paste could not place is still there. Put it where it belongs, or empty the field."
FIRST_LINE = {
    "kind": "gored_elbow",
    "material": "galvanized",
    "gauge": "24",
    "end_a": "raw",
    "end_b": "raw",
}
_LINE_NAME = re.compile(r"(line-\d{1,5})-kind")
_LINE_PATH = re.compile(r"lines\[(\d+)\]\.?(.*)$")


def entry_choices() -> Choices:
    return choices_of(all_rows(), customer_names())


def lines_typed(data: Mapping[str, Any]) -> Iterator[tuple[str, dict[str, str]]]:
    """Each line of the form as it came, in the order of the page: its prefix, and its texts by field."""
    names = (_LINE_NAME.fullmatch(name) for name in data)
    of: dict[str, dict[str, str]] = {found[1]: {} for found in names if found}
    for name in data:
        prefix, _, rest = _divided(name)
        if prefix in of:
            of[prefix][rest] = str(data[name]).strip()
    yield from list(of.items())[: MOST_LINES * 2]


def _divided(name: str) -> tuple[str, str, str]:
    head, _, rest = name.partition("-")
    number, dash, field = rest.partition("-")
    return f"{head}-{number}", dash, field


class OrderEntry:
    """The head form and the line forms of a new order, or of one that is changed."""

    token, revision, left = "", 0, ""
    """Under which token what is typed is kept, and its revision · what a paste could not place."""

    def __init__(
        self, choices: Choices, *, today: date, order: Order | None = None, like: Order | None = None
    ):
        """Of an order that is changed; or a new one, with the customer and the lines of the order that it is like."""
        self.choices, self.order, self.today = choices, order, today
        initial = _head_initial(order)
        if like:
            initial["customer"] = like.customer.name
        self.head = OrderForm(today=today, initial=initial)
        shown = order or like
        stored = shown.lines.defer("development").order_by("position") if shown else []
        self.lines = [self._line(at, line_initial(line, choices.unit)) for at, line in enumerate(stored)]
        if not self.lines:
            self.lines = [self._line(0, FIRST_LINE)]
        self.version = order.version if order else 0
        self.conflict: Conflict | None = None

    @classmethod
    def typed(
        cls,
        data: Mapping[str, Any],
        choices: Choices,
        *,
        today: date,
        order: Order | None = None,
        is_judged: bool = True,
    ) -> OrderEntry:
        """As typed. Lines may be missing in between: they were taken out on the page.

        is_judged  False shows what was typed again without judging it
        """
        entry = cls.__new__(cls)
        entry.choices, entry.order, entry.today, entry.conflict = choices, order, today, None
        entry.version = _whole(data.get("version"), 10**9)
        entry.token, entry.revision = token_of(data), _whole(data.get("typed_revision"), 10**9)
        entry.left = str(data.get("left") or "").strip()
        ats = [prefix.removeprefix("line-") for prefix, _ in lines_typed(data)]
        if is_judged:
            entry.head = OrderForm(data, today=today, initial=_head_initial(order))
            entry.lines = [LineForm(data, prefix=f"line-{at}", choices=choices) for at in ats]
            return entry
        entry.head = OrderForm(
            today=today, initial={name: data.get(name, "") for name in OrderForm.base_fields}
        )
        entry.lines = [entry._line(at, _texts_of(data, f"line-{at}-")) for at in ats]
        return entry

    def _line(self, at: int | str, initial: Mapping[str, Any]) -> LineForm:
        return LineForm(prefix=f"line-{at}", choices=self.choices, initial=initial)

    @property
    def is_head_only(self) -> bool:
        """A released order keeps its number, customer and lines."""
        return bool(self.order) and self.order.state != Order.State.DRAFT

    @property
    def count(self) -> int:
        """One more than the highest line's number on the page."""
        return max((int(line.prefix.partition("-")[2]) for line in self.lines), default=-1) + 1

    @property
    def kind_templates(self) -> list[LineForm]:
        """A blank line of every kind, for the page to copy."""
        return [
            LineForm(
                prefix=f"line-{BLANK_NEW_LINE}", choices=self.choices, initial={**FIRST_LINE, "kind": kind}
            )
            for kind in KINDS
        ]

    # without JavaScript

    def add_line(self) -> None:
        """A blank line that carries over the metal and the ends of the one before."""
        carried = dict(FIRST_LINE)
        if self.lines:
            last = self.lines[-1]
            carried |= {name: last[name].value() for name in CARRIED if name in last.fields}
        self.lines.append(self._line(self.count, carried))

    def remove_line(self, prefix: str) -> None:
        self.lines = [line for line in self.lines if line.prefix != prefix]
        if not self.lines:
            self.lines = [self._line(0, FIRST_LINE)]

    # saving

    def save(self, *, actor: Actor, now: datetime) -> Order | None:
        """Save through the order's services; None where something is wrong, which then stands beside its field."""
        filled = [] if self.is_head_only else [line for line in self.lines if not line.is_blank]
        if not self.is_head_only and not filled:
            filled = self.lines[:1]
        is_read = all([self.head.is_valid(), *[line.is_valid() for line in filled]])
        if not is_read or self.left:
            for line in filled:
                line.develop()
            self._judge_number()
            return None
        try:
            saved = self._to_service(filled, actor, now)
        except Conflict as conflict:
            self._refused(conflict, filled)
            if not any(error.field == "number" for error in conflict.errors):
                self.conflict = conflict
        except WrongInput as wrong:
            self._refused(wrong, filled)
        else:
            typed_end(token=self.token, actor=actor, now=now)
            return saved
        return None

    def _judge_number(self) -> None:
        """The one field of the head that only the service judges, so that all that is wrong is told at once."""
        number = self.head.cleaned_data.get("number")
        if number and self.order is None:
            try:
                read_order({"number": number}, tables=self.choices.tables, is_new=False)
            except WrongInput as wrong:
                self._refused(wrong, [])

    def _to_service(self, filled: list[LineForm], actor: Actor, now: datetime) -> Order:
        data = {**self.head.cleaned_data, "unit": self.choices.unit}
        data["lines"] = [line.line() for line in filled]
        if self.order is None:
            return order_create(data=data, actor=actor, now=now)
        if self.is_head_only:
            data = {name: data[name] for name in ("purchase_order", "due", "priority", "notes")}
        data.pop("number", None)
        data["version"] = self.version
        return order_update(number=self.order.number, data=data, actor=actor, now=now)

    def _refused(self, problem: Problem, filled: list[LineForm]) -> None:
        if not problem.errors:
            self.head.add_error(None, problem.detail)
        for error in problem.errors:
            found = _LINE_PATH.match(error.field)
            if found and int(found[1]) < len(filled):
                filled[int(found[1])].attach([FieldError(found[2], error.value, error.limit, error.message)])
            elif error.field in self.head.fields:
                self.head.add_error(error.field, error.message)
            elif not isinstance(problem, Conflict):
                self.head.add_error(None, error.message)

    @property
    def problems(self) -> list[tuple[str, str]]:
        """Everything that is wrong, for the summary: the field's id, and the sentence."""
        found = [("", text) for text in self.head.non_field_errors()]
        found += _errors_of(self.head, "")
        if self.left:
            found.append(("left", LEFT_SENTENCE))
        for number, line in enumerate(self.lines, start=1):
            found += [("", f"Line {number}: {text}") for text in line.non_field_errors()]
            found += _errors_of(line, f"Line {number}: ")
        return found


def _errors_of(form, before: str) -> Iterable[tuple[str, str]]:
    if form.is_bound:
        for field in form:
            for text in field.errors:
                yield field.id_for_label, before + text


def _head_initial(order: Order | None) -> dict[str, Any]:
    if order is None:
        return {"priority": "5"}
    return {
        "number": order.number,
        "customer": order.customer.name,
        "purchase_order": order.purchase_order,
        "due": date_text(order.due_on) if order.due_on else "",
        "priority": str(order.priority),
        "notes": order.notes,
    }


def _texts_of(data: Mapping[str, Any], before: str) -> dict[str, Any]:
    return {name.removeprefix(before): data[name] for name in data if name.startswith(before)}


def _whole(text: Any, most: int) -> int:
    text = str(text or "")
    return min(int(text), most) if text.isdecimal() and len(text) <= 9 else 0
