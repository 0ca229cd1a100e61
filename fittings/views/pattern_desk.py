"""The pattern desk: any fitting drawn as it is typed, and its patterns to take away. Nothing is stored."""

from django.http import HttpResponse
from django.shortcuts import render

from fittings.downloads import fitting_file, unit_asked
from fittings.pattern_desk import Desk
from shared.roles import role_required


@role_required("office", "supervisor")
def pattern_desk(request):
    desk = Desk(request.GET.dict())
    status = 200 if desk.preview else 400
    return render(request, "fittings/pattern_desk.html", {"desk": desk}, status=status)


@role_required("office", "supervisor")
def pattern_desk_drawing(request):
    """The drawn parts of the page alone, and what was understood of each field or is wrong with it."""
    return render(request, "fittings/_pattern_desk_answer.html", {"desk": Desk(request.GET.dict())})


@role_required("office", "supervisor")
def pattern_desk_file(request, form):
    """The patterns of the fitting as a file, at full scale."""
    unit = unit_asked(request.GET.get("unit"))
    made = fitting_file(Desk(request.GET.dict()).developed(), form, unit)
    response = HttpResponse(made.content, content_type=made.media_type)
    response["Content-Disposition"] = f'attachment; filename="{made.name}"'
    return response
