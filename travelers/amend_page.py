"""The page on which a released order is changed: its lines as forms, what the change means, and the change itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import Any

from fittings.forms import CARRIED, LineForm, line_initial
from fittings.models import Order, OrderLine
from fittings.money import currency_sign, money_text
from fittings.order_entry import entry_choices
from fittings.preview import LineDrawing, line_drawing, weight_text
from fittings.reading import MOST_LINES
from fittings.tables import versions_in_force
from shared.problems import Conflict, FieldError, Problem, WrongInput
from shared.roles import Actor
from travelers.amend import change_show, order_change
from travelers.amend_meaning import Meaning, Shown
from travelers.amend_reading import GO_ON, KEEP, SCRAP
from travelers.amend_started import Metal, Step, fittings_in, operation_names, steps_of

IN_PLACE = ("quantity", "tag", "system", "traveler_per")
STARTED_WORDS = (
    (KEEP, "Keep what is good as stock"),
    (SCRAP, "Scrap it"),
    (GO_ON, "Go on with it all the same"),
)
FIRST = {"kind": "gored_elbow", "material": "galvanized", "gauge": "24", "end_a": "raw", "end_b": "raw"}


@dataclass
class Row:
    """A line on the page. `line` is None for one that is added."""

    form: LineForm
    line: OrderLine | None = None
    drawing: LineDrawing | None = None
    so_far: str = ""
    is_begun: bool = False
    is_cancelled: bool = False
    started: str = KEEP

    @property
    def prefix(self) -> str:
        return self.form.prefix

    @property
    def quantity(self):
        return self.form["quantity"]

    @property
    def fitting_fields(self) -> list:
        """What makes it another fitting."""
        form = self.form
        first = [field for field in form.first_fields if field.name != "quantity"]
        return [*first, *form.size_fields, *form.end_fields, *form.more_fields, *form.allowance_fields]

    @property
    def is_open(self) -> bool:
        """Something of the fitting is wrong or changed, so its fields are unfolded."""
        if self.line is None:
            return True
        return bool(set(self.form.errors) - {"quantity"}) or (self.form.is_bound and self.differs)

    @cached_property
    def differs(self) -> bool:
        """The fitting was typed otherwise than it stands."""
        return bool(_typed_otherwise(self))


class ChangeEntry:
    """The lines of a released order as forms, and added ones."""

    def __init__(self, order: Order, data: Mapping[str, Any] | None = None, *, is_judged: bool = True):
        self.order, self.data = order, data
        self.choices = entry_choices()
        self.problems: list[tuple[str, str]] = []
        self.shown: Shown | None = None
        self.is_stale = False
        lines = list(order.lines.select_related("order").order_by("position"))
        far, self._names = fittings_in(lines), operation_names()
        self.rows = [self._row(line, far[line.pk], data, is_judged) for line in lines]
        self.rows += [
            Row(self._form(f"new-{at}", data, {}, is_judged))
            for at in range(_whole((data or {}).get("added")))
            if f"new-{at}-kind" in (data or {})
        ]
        self.version = _whole((data or {}).get("version")) if data else order.version
        self.use_kept = _ids(data.getlist("use_kept")) if hasattr(data, "getlist") else []
        self.note = str((data or {}).get("note", ""))[:200]

    def _row(self, line: OrderLine, fittings, data, is_judged: bool) -> Row:
        prefix = f"line-{line.position}"
        form = self._form(prefix, data, line_initial(line, self.choices.unit), is_judged)
        drawing = line_drawing(line, line.tables_used or versions_in_force())
        begun = any(one.is_begun for one in fittings)
        row = Row(form, line, drawing, far_text(steps_of(fittings, self._names), len(fittings)), begun)
        if data is not None:
            row.is_cancelled = data.get(f"{prefix}-cancel") == "yes"
            row.started = str(data.get(f"{prefix}-started", KEEP))
        return row

    def _form(self, prefix: str, data, initial: Mapping[str, Any], is_judged: bool) -> LineForm:
        if data is None:
            return LineForm(prefix=prefix, choices=self.choices, initial=initial)
        if is_judged:
            return LineForm(data, prefix=prefix, choices=self.choices, initial=initial)
        names = (name for name in data if name.startswith(f"{prefix}-"))
        typed = {name.removeprefix(f"{prefix}-"): data[name] for name in names}
        return LineForm(prefix=prefix, choices=self.choices, initial=typed or initial)

    @property
    def added(self) -> int:
        """One more than the highest number of an added line."""
        numbers = [int(row.prefix.partition("-")[2]) for row in self.rows if row.line is None]
        return max(numbers, default=-1) + 1

    # without judging

    def add_line(self) -> None:
        carried = dict(FIRST)
        if self.rows:
            last = self.rows[-1].form
            carried |= {name: last[name].value() for name in CARRIED if name in last.fields}
        self.rows.append(Row(LineForm(prefix=f"new-{self.added}", choices=self.choices, initial=carried)))

    def remove_line(self, prefix: str) -> None:
        self.rows = [row for row in self.rows if row.line is not None or row.prefix != prefix]

    # to the services

    def asked(self) -> dict[str, Any] | None:
        """The change as the service takes it, touched lines only; None where something typed cannot be read."""
        lines, self._of = [], []
        are_read = True
        for row in self.rows:
            if row.line is not None and row.is_cancelled:
                lines.append({"line": row.line.position, "cancel": True, "started": row.started})
                self._of.append(row)
                continue
            are_read = row.form.is_valid() and are_read
            given = self._given(row)
            if given is not None:
                lines.append(given)
                self._of.append(row)
        if not are_read:
            self._gather()
            return None
        return {"version": self.version, "unit": self.choices.unit, "note": self.note, "lines": lines}

    def _given(self, row: Row) -> dict[str, Any] | None:
        if row.line is None:
            return row.form.line()
        typed = row.form.line()
        own = {
            name: typed[name]
            for name in IN_PLACE
            if name in typed and typed[name] != getattr(row.line, name, typed[name])
        }
        if not row.differs and not own:
            return None
        given = typed if row.differs else own
        return {**given, "line": row.line.position, "started": row.started}

    def show(self, *, now: datetime) -> bool:
        """Work out what the change means; False where something is wrong, which then stands beside its field."""
        data = self.asked()
        if data is None:
            return False
        try:
            self.shown = change_show(number=self.order.number, data=data, now=now)
        except (WrongInput, Conflict) as problem:
            self._refused(problem)
            return False
        return True

    def make(self, *, seen: str, actor: Actor, now: datetime) -> bool:
        """Make the change that was shown. Where it means something else by now it is shown again."""
        data = self.asked()
        if data is None:
            return False
        try:
            data = {**data, "seen": seen, "use_kept": self.use_kept}
            self.shown = order_change(number=self.order.number, data=data, actor=actor, now=now)
        except Conflict as problem:
            if any(error.field == "seen" for error in problem.errors):
                self.show(now=now)
            self._refused(problem)
            return False
        except WrongInput as problem:
            self._refused(problem)
            return False
        return True

    def _refused(self, problem: Problem) -> None:
        self.is_stale = any(error.field == "version" for error in problem.errors)
        others = []
        for error in problem.errors:
            head, _, rest = error.field.partition("].")
            at = head.removeprefix("lines[")
            if head.startswith("lines[") and at.isdecimal() and int(at) < len(self._of):
                row = self._of[int(at)]
                row.form.attach([FieldError(rest, error.value, error.limit, error.message)])
            elif not isinstance(problem, Conflict):
                others.append(("", error.message))
        if isinstance(problem, Conflict) or not problem.errors:
            others.append(("", problem.detail))
        self.problems = others
        self._gather()

    def _gather(self) -> None:
        for row in self.rows:
            name = f"Line {row.line.position}" if row.line else "New line"
            self.problems += [("", f"{name}: {text}") for text in row.form.non_field_errors()]
            for field in row.form:
                self.problems += [(field.id_for_label, f"{name}: {text}") for text in field.errors]


def _typed_otherwise(row: Row) -> list[str]:
    """The fields of the fitting that were typed otherwise than the page showed them."""
    if row.line is None or not row.form.is_bound:
        return []
    before = LineForm(prefix=row.prefix, choices=row.form.choices, initial=row.form.initial)
    if before.shape.name != row.form.shape.name:
        return ["kind"]
    return [
        name
        for name in row.form.fields
        if name not in IN_PLACE and _plain(row.form[name].value()) != _shown(before, name)
    ]


def _shown(form: LineForm, name: str) -> str:
    """What a field sends where nobody touches it; of a choice that is not set the first."""
    value = form[name].value()
    choices = [str(key) for key, _ in getattr(form.fields[name].widget, "choices", ())]
    if choices and (value is None or str(value) not in choices) and not value:
        return choices[0]
    return _plain(value)


def _plain(value: Any) -> str:
    if value in (None, False, "False"):
        return ""
    return "True" if value in (True, "on", "True") else str(value).strip()


# -- words ---------------------------------------------------------------------


def far_text(steps: Iterable[Step], fittings: int) -> str:
    """How far a line is: “of 4 fittings: 6 pieces cut, 2 pieces rolled, 1 fitting assembled”."""
    parts = []
    for step in steps:
        for count, how in ((step.done, ""), (step.running, " started")):
            if count:
                noun = "fitting" if step.is_whole else "piece"
                parts.append(f"{step.name}{how}: {count} {noun}{'' if count == 1 else 's'}")
    return "; ".join(parts) if parts else "Nothing started" if fittings else "Nothing left of it"


@dataclass(frozen=True)
class MeaningPage:
    """What a change means for one line, in words."""

    name: str
    before: str
    after: str
    drawing: LineDrawing | None
    facts: tuple[str, ...]
    started: str
    far: str
    cost: str


def meaning_pages(shown: Shown) -> list[MeaningPage]:
    sign = currency_sign()
    return [_page(line, sign) for line in shown.lines if line.wish.kind != "same"]


def _page(line: Meaning, sign: str) -> MeaningPage:
    wish = line.wish
    made = wish.made
    position = made.position if made is not None else wish.line.position
    facts = list(_facts(line))
    words = dict(STARTED_WORDS).get(line.started, "")
    return MeaningPage(
        name=f"Line {position}" + (" (new)" if wish.line is None else ""),
        before=line.before or "not there",
        after="cancelled" if wish.given is None else line.after,
        drawing=line_drawing(made, versions_in_force()) if made is not None else None,
        facts=tuple(facts),
        started=words,
        far=far_text(line.going, 1) if line.begun else "",
        cost=_cost(line, sign),
    )


def _facts(line: Meaning) -> Iterable[str]:
    if line.made:
        yield f"{_count(line.made, 'fitting')} to make, with {'a new traveler' if line.made == 1 else 'new travelers'}."
    if line.wish.kind == "wording":
        yield "Only words change. Print its papers again, they show the old ones."
    if line.void:
        yield f"{_count(line.void, 'fitting')} not started: void."
    if line.begun:
        unfinished = line.begun - line.finished
        parts = [f"{unfinished} begun"] if unfinished else []
        parts += [f"{line.finished} finished"] if line.finished else []
        yield f"Not wanted any more though started: {' and '.join(parts)}."
    if line.delivered:
        yield f"Not taken out, because on a delivery: {_count(line.delivered, 'fitting')}."
    if line.over and line.wish.kind != "wording":
        yield f"In the order beyond what is ordered: {_count(line.over, 'fitting')}."
    if line.kept_whole:
        yield f"{_count(line.kept_whole, 'finished fitting')} kept as stock."
    if line.kept_loose:
        yield f"{_count(line.kept_loose, 'piece')} kept as stock."
    if line.scrap.pieces:
        yield f"{_count(line.scrap.pieces, 'piece')} become{'s' if line.scrap.pieces == 1 else ''} scrap."
    if line.started == KEEP and line.scrap.pieces:
        yield "What is being put together, or only begun, cannot be kept."
    for word in line.sheets.words:
        yield f"Comes off {word}."
    if line.travelers:
        codes = ", ".join(line.travelers[:5]) + (" and more" if len(line.travelers) > 5 else "")
        noun = "traveler" if len(line.travelers) == 1 else "travelers"
        yield f"Void: {noun} {codes}. Whoever scans it is told so, and what to use now."


def _cost(line: Meaning, sign: str) -> str:
    parts = [
        f"{word}: {_metal(metal, sign)}"
        for word, metal in (("Scrap", line.scrap), ("Kept", line.kept))
        if metal.pieces
    ]
    if parts:
        parts.append(f"{line.hours:.2f} standard hours in it")
    return "; ".join(parts)


def _metal(metal: Metal, sign: str) -> str:
    area = f"{metal.area_in2 / 144:.2f} ft²"
    cost = money_text(metal.cost, sign) if metal.cost is not None else "cost not known"
    return f"{area} of metal, {weight_text(metal.weight_lb, 'in')}, {cost}"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"


def _ids(values: Sequence[str]) -> list[int]:
    """The ids of the kept pieces that are ticked, several a box."""
    texts = [text for value in values for text in value.split(",")]
    return [int(text) for text in texts if text.isdecimal() and text.isascii() and len(text) < 19]


def _whole(text: Any) -> int:
    text = str(text or "")
    return min(int(text), MOST_LINES * 2) if text.isdecimal() and len(text) <= 9 else 0
