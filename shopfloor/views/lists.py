"""A list page's rows as a file for a spreadsheet."""

from django.http import HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_safe

from shared.roles import OFFICE, SUPERVISOR, role_required
from shopfloor import lists


@require_safe
@role_required(OFFICE, SUPERVISOR)
def list_file(request, name, form):
    content, media_type = lists.list_file(
        name, form, request.GET.dict(), actor=request.actor, now=timezone.now()
    )
    response = HttpResponse(content, content_type=media_type)
    response["Content-Disposition"] = f'attachment; filename="{name}.{form}"'
    return response
