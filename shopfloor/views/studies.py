"""What if: the questions that are kept, asking one, and what came out."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from shared.problems import Conflict, WrongInput
from shared.roles import DISPLAY, OFFICE, SUPERVISOR, role_required
from shopfloor import studies, study_page
from shopfloor.figures_meant import figures_meant
from shopfloor.floor_now import MEASURED, STANDARD, kinds_lately
from shopfloor.flow.floor import NEXT_PIECE, OLDEST
from shopfloor.models import Station, Study
from shopfloor.studies import KIND_NAMES, LIMITS, LONGEST_NAME, MOST_BENCHES, MOST_CAP, ChangeAsked
from travelers.models import Operation

ON_A_PAGE = 25
askers = role_required(OFFICE, SUPERVISOR)
RULES = (
    (NEXT_PIECE, "As the tablets list it: pinned, due soonest, then what completes a fitting"),
    (OLDEST, "The longest ready"),
)
TIMES = (
    (STANDARD, "The standard times"),
    (MEASURED, "As measured, where a method was timed often enough"),
)
RUNS = (("20", "20 runs: a first look"), ("60", "60 runs"), ("200", "200 runs: the closest ranges"))


def _whole(label: str, low: int, high: int, *, help_text: str = "", is_required: bool = False):
    limit = f"{low} to {high}".replace("-", "−")
    wrong = f"{label} can be {limit}."
    return forms.IntegerField(
        label=label,
        required=is_required,
        min_value=low,
        max_value=high,
        help_text=help_text,
        error_messages={"invalid": wrong, "min_value": wrong, "max_value": wrong, "required": wrong},
    )


class StudyForm(forms.Form):
    name = forms.CharField(
        label="Name",
        max_length=LONGEST_NAME,
        help_text="As you will look for it, for example “A second roll”.",
        error_messages={
            "required": "Enter a name.",
            "max_length": f"The name can have at most {LONGEST_NAME} characters.",
        },
    )
    people = _whole("People at work", *LIMITS["people"][:2], help_text="Empty: one at every station.")
    longer = _whole("Hours a day more", *LIMITS["longer"][:2], help_text="Below 0: fewer.")
    inflow = _whole(
        "New work, %",
        *LIMITS["inflow"][:2],
        help_text="100: as in the last four weeks. 0: the open work alone.",
        is_required=True,
    )
    lot = _whole("Segments that move on together", *LIMITS["lot"][:2], help_text="Empty: each at once.")
    rule = forms.ChoiceField(
        label="Which piece is next",
        choices=RULES,
        widget=forms.RadioSelect,
        error_messages={"required": "Choose a rule.", "invalid_choice": "Choose one of the rules."},
    )
    times = forms.ChoiceField(
        label="Times of the work, on both floors",
        choices=TIMES,
        widget=forms.RadioSelect,
        error_messages=dict.fromkeys(("required", "invalid_choice"), "Choose standard or measured times."),
    )
    days = _whole("Working days to look at", *LIMITS["days"][:2], is_required=True)
    runs = forms.ChoiceField(
        label="How often", choices=RUNS, error_messages={"invalid_choice": "Choose a number of runs."}
    )

    def __init__(self, data=None):
        usual = {"inflow": 100, "rule": NEXT_PIECE, "times": STANDARD, "days": 10, "runs": "60"}
        super().__init__(data, initial=usual)
        self.use_required_attribute = False
        self.operations = list(Operation.objects.order_by("position").values_list("code", "name"))
        for code, name in self.operations:
            self.fields[f"benches_{code}"] = _whole(f"{name}: stations more", -MOST_BENCHES, MOST_BENCHES)
            self.fields[f"caps_{code}"] = _whole(f"{name}: at most so many pieces", 1, MOST_CAP)
        lately = kinds_lately(now=timezone.now())
        self.kinds = [kind for kind in KIND_NAMES if kind in lately]
        for kind in self.kinds:
            self.fields[f"mix_{kind}"] = _whole(f"{KIND_NAMES[kind]}, %", *LIMITS["inflow"][:2])

    @property
    def rows(self):
        """(operation's name, its field of stations, its field of the cap)"""
        return [(name, self[f"benches_{code}"], self[f"caps_{code}"]) for code, name in self.operations]

    @property
    def mix(self):
        """(kind's name, its field)"""
        return [(KIND_NAMES[kind], self[f"mix_{kind}"]) for kind in self.kinds]

    @property
    def has_mix(self) -> bool:
        return any(field.value() not in (None, "") for _, field in self.mix)

    def asked(self) -> ChangeAsked:
        read = self.cleaned_data
        return ChangeAsked(
            {code: read[f"benches_{code}"] for code, _ in self.operations if read[f"benches_{code}"]},
            read["people"],
            read["longer"] or 0,
            {code: read[f"caps_{code}"] for code, _ in self.operations if read[f"caps_{code}"]},
            read["lot"],
            read["rule"],
            read["inflow"],
            read["times"],
            {kind: read[f"mix_{kind}"] for kind in self.kinds if read[f"mix_{kind}"] not in (None, 100)},
        )

    def attach(self, problem: WrongInput | Conflict) -> None:
        """The service's own refusals, at their fields where the page has them."""
        for error in getattr(problem, "errors", ()) or ():
            name = error.field.replace(".", "_")
            self.add_error(name if name in self.fields else None, error.message)
        if not getattr(problem, "errors", ()):
            self.add_error(None, problem.detail)


@require_http_methods(["GET", "HEAD", "POST"])
@askers
def what_if(request):
    """The list, with the form to ask above it."""
    if request.method != "POST":
        return _list(request, StudyForm())
    form = StudyForm(request.POST)
    if not form.is_valid():
        return _list(request, form, status=400)
    read = form.cleaned_data
    try:
        study = studies.study_request(
            name=read["name"],
            asked=form.asked(),
            days=read["days"],
            runs=int(read["runs"]),
            actor=request.actor,
            now=timezone.now(),
        )
    except (WrongInput, Conflict) as problem:
        form.attach(problem)
        return _list(request, form, status=problem.status)
    return redirect("study", study.pk)


def _list(request, form, status=200):
    newest = Study.objects.order_by("-asked_at", "-pk").defer("result")
    context = {
        "form": form,
        "page_obj": Paginator(newest, ON_A_PAGE).get_page(request.GET.get("page")),
        "has_stations": Station.objects.filter(is_active=True).exists(),
        "relief": study_page.relief_now(),
    }
    return render(request, "shopfloor/what_if.html", context, status=status)


@require_safe
@role_required(OFFICE, SUPERVISOR, DISPLAY)
def figures(request):
    """What every figure means."""
    return render(request, "shopfloor/figures_meant.html", {"groups": figures_meant()})


@require_safe
@askers
def study(request, pk):
    progress = study_page.study_progress(pk, now=timezone.now())
    one = progress.study
    context = {"study": one, "progress": progress, "changes": study_page.changes_said(one)}
    if one.result:
        context |= {
            "figures": study_page.figures(one),
            "operations": study_page.figures_by_operation(one),
            "times": study_page.times_said(one),
            "relief": study_page.relief_said(one.result["relief"]),
            "relief_then": study_page.relief_said(one.result["relief_then"]),
        }
    return render(request, "shopfloor/study.html", context)


@require_safe
@askers
def study_progress(request, pk):
    """The part of the page that changes while it is made; once it is made, the whole page is asked for."""
    progress = study_page.study_progress(pk, now=timezone.now())
    response = render(request, "shopfloor/_study_progress.html", {"progress": progress})
    if not progress.is_open:
        response["HX-Refresh"] = "true"
    return response


@require_POST
@askers
def study_stop(request, pk):
    studies.study_stop(pk=pk, actor=request.actor, now=timezone.now())
    return redirect("study", pk)


@require_POST
@askers
def study_remove(request, pk):
    studies.study_remove(pk=pk, actor=request.actor, now=timezone.now())
    messages.success(request, "The question and its answer are removed.")
    return redirect("what_if")
