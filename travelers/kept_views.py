"""Pages of kept pieces: the list, keeping some, one piece moved or ended."""

from django.contrib import messages
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from fittings.models import KeptPiece
from fittings.views.not_loaded import says_when_not_loaded
from shared.problems import Conflict, WrongInput
from shared.roles import role_required
from travelers import kept as services
from travelers.kept_page import SHOWN, KeepForm, PlaceForm, kept_page, kept_rows_shown
from travelers.kept_reading import kept_add_codes


@require_safe
@role_required("office", "supervisor")
@says_when_not_loaded("Kept pieces")
def kept(request):
    page = kept_page(request.GET)
    context = {"kept": page, "page_obj": page.page, "shown": SHOWN}
    return render(request, "travelers/kept.html", context)


@role_required("office", "supervisor")
def kept_new(request):
    form = KeepForm(request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            made = kept_add_codes(data=form.values(), actor=request.actor, now=timezone.now())
        except WrongInput as wrong:
            form.attach(wrong)
        else:
            messages.success(request, _kept_said(made))
            return redirect("kept")
    return render(request, "travelers/kept_new.html", {"form": form}, status=400 if form.errors else 200)


def _kept_said(made: list[KeptPiece]) -> str:
    what = f"{made[0]} is" if len(made) == 1 else f"{len(made)} pieces are"
    return f"{what} kept{': ' + made[0].place if made[0].place else ''}."


@role_required("office", "supervisor")
def kept_piece(request, pk):
    piece = services.kept_by_id(pk)
    form = PlaceForm(request.POST if request.method == "POST" else None, piece=piece)
    conflict = None
    if request.method == "POST" and form.is_valid():
        try:
            _change(request, pk, form.cleaned_data)
        except WrongInput as wrong:
            form.attach(wrong)
        except Conflict as problem:
            conflict = problem
        else:
            messages.success(request, f"{piece} is saved.")
            return redirect("kept")
    return _piece(request, piece, form, conflict)


@require_POST
@role_required("office", "supervisor")
def kept_ended(request, pk):
    piece = services.kept_by_id(pk)
    try:
        ended = _change(request, pk, {"ended": request.POST.get("ended", "")[:20] or "nothing"})
    except (WrongInput, Conflict) as problem:
        return _piece(request, piece, PlaceForm(piece=piece), problem)
    messages.success(request, f"{piece} is not kept any more: {ended.get_ended_why_display().lower()}.")
    return redirect("kept")


def _change(request, pk, data) -> KeptPiece:
    text = request.POST.get("version", "")
    version = int(text) if text.isascii() and text.isdecimal() and 0 < len(text) < 9 else 0
    return services.kept_change(
        pk=pk, data={**data, "version": version or 10**9}, actor=request.actor, now=timezone.now()
    )


def _piece(request, piece, form, problem):
    context = {"row": kept_rows_shown([piece])[0], "form": form, "problem": problem}
    context["version"] = request.POST.get("version", piece.version)
    status = problem.status if problem else 400 if form.errors else 200
    return render(request, "travelers/kept_piece.html", context, status=status)
