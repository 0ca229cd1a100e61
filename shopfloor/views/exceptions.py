"""The supervisor's page of what needs eyes: one list a kind, what was settled, and what to know of today."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from shared.problems import WrongInput
from shared.roles import SUPERVISOR, role_required
from shopfloor import exceptions as today
from shopfloor import needs_eyes
from shopfloor.needs_eyes_items import names_of

ON_A_PAGE = needs_eyes.MOST_AT_ONCE
REFUSED_SHOWN = 5
SETTLED, REFUSED = "settled", "refused"
TITLES = {
    needs_eyes.Kind.HOLD: "On hold",
    needs_eyes.Kind.LEFT: "Left unfinished",
    needs_eyes.Kind.GAP: "Scans not here",
    needs_eyes.Kind.CLOCK: "Clocks off",
    needs_eyes.Kind.SAME_ID: "Same id, other scan",
    needs_eyes.Kind.IMPLIED: "Missed scans",
}
HINTS = {
    needs_eyes.Kind.HOLD: "Oldest first. A resume takes a piece off the list; a note says that somebody sees to it.",
    needs_eyes.Kind.LEFT: "On a delivery, though a scan that came late took work of it back. The office takes the"
    " delivery back, or a note says what was found. What is scanned after a fitting left is refused.",
    needs_eyes.Kind.GAP: "Tablets number their scans. These numbers have not come though later ones have; a late one"
    " leaves the list when it comes.",
    needs_eyes.Kind.CLOCK: "More than 2 minutes ahead or 30 days behind: set the tablet's clock. The last 30 days.",
    needs_eyes.Kind.SAME_ID: "A known id came again with other words. The first one holds. The last 30 days.",
    needs_eyes.Kind.IMPLIED: "Taken as done because a later operation was scanned. Their own scan, or an undo of the"
    " later one, takes them off. The last 30 days.",
}


class NoteForm(forms.Form):
    text = forms.CharField(
        label="Note",
        widget=forms.Textarea(attrs={"rows": 2, "maxlength": needs_eyes.LONGEST_NOTE}),
        help_text="What was found or done. It stays with your name and the time; the record is not changed.",
    )


@role_required(SUPERVISOR)
@require_http_methods(["GET", "HEAD", "POST"])
def exceptions(request):
    now = timezone.now()
    form, ticked = NoteForm(), set()
    if request.method == "POST":
        kind, keys = request.POST.get("kind", ""), request.POST.getlist("item")
        form, ticked = NoteForm(request.POST), set(keys)
        form.is_valid()
        form.errors.clear()  # the service judges
        try:
            count = needs_eyes.settle(
                kind=kind, keys=keys, text=request.POST.get("text", ""), actor=request.actor, now=now
            )
        except WrongInput as wrong:
            for error in wrong.errors:
                form.add_error("text" if error.field == "text" else None, error.message)
        else:
            messages.success(request, f"{count} settled with your note.")
            return redirect(f"{reverse('exceptions')}?show={kind if kind in needs_eyes.KINDS else ''}")
    counts = needs_eyes.open_counts(now=now)
    asked = request.POST.get("kind", "") or request.GET.get("show", "")
    first = next((kind for kind, count in counts.items() if count), needs_eyes.KINDS[0])
    shown = asked if asked in (*counts, SETTLED, REFUSED) else first
    refused = today.refused_today(now=now)
    page = Paginator(_rows(shown, refused, now), ON_A_PAGE).get_page(request.GET.get("page"))
    rows = list(page.object_list)
    latest = rows if shown == REFUSED else list(refused[:REFUSED_SHOWN])
    names = names_of(scan.badge for scan in latest if scan.badge)
    missed = today.missed_today(now=now)
    context = {
        "now": now,
        "form": form,
        "ticked": ticked,
        "kinds": [(kind, TITLES[kind], count) for kind, count in counts.items()],
        "total": sum(counts.values()),
        "shown": shown,
        "title": TITLES.get(shown, {SETTLED: "Settled", REFUSED: "Refused today"}.get(shown)),
        "hint": HINTS.get(shown, ""),
        "page_obj": page,
        "items": [(item, now - item.since) for item in _items(shown, rows, now)],
        "settled": [(one, TITLES[one.kind]) for one in needs_eyes.settled_of(rows)]
        if shown == SETTLED
        else [],
        "refused": [(scan, names.get(scan.badge, scan.badge)) for scan in latest],
        "missed": missed,
        "missed_total": sum(one.count for one in missed),
        "sign_ins": today.wrong_sign_ins(),
    }
    return render(request, "shopfloor/exceptions.html", context, status=400 if form.errors else 200)


def _rows(shown: str, refused, now):
    if shown == SETTLED:
        return needs_eyes.settled_rows(now=now)
    return refused if shown == REFUSED else needs_eyes.open_rows(shown, now=now)


def _items(shown: str, rows, now):
    return needs_eyes.items_of(shown, rows, now=now) if shown in TITLES else []
