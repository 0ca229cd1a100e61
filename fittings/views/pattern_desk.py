"""The pattern desk: any fitting drawn as it is typed, and its patterns to take away. Nothing is stored."""

from django.shortcuts import render
from django.views.decorators.http import require_safe

from fittings.downloads import file_response, fitting_file, unit_asked
from fittings.pattern_desk import Desk
from shared.roles import role_required


@require_safe
@role_required("office", "supervisor")
def pattern_desk(request):
    desk = Desk(request.GET.dict())
    status = 200 if desk.preview else 400
    return render(request, "fittings/pattern_desk.html", {"desk": desk}, status=status)


@require_safe
@role_required("office", "supervisor")
def pattern_desk_drawing(request):
    """The drawn parts of the page alone, and what was understood of each field or is wrong with it."""
    return render(request, "fittings/_pattern_desk_answer.html", {"desk": Desk(request.GET.dict())})


@require_safe
@role_required("office", "supervisor")
def pattern_desk_file(request, form):
    """The patterns of the fitting as a file, at full scale."""
    unit = unit_asked(request.GET.get("unit"))
    made = fitting_file(Desk(request.GET.dict()).developed(), form, unit)
    return file_response(made, kind="attachment")
