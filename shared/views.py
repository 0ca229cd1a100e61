"""Pages that belong to no package: the components, and what is shown when nothing else can be."""

import sys

from django.shortcuts import render
from django.views.decorators.http import require_safe

from shared.middleware import answer_problem, is_busy
from shared.patterns import patterns_context
from shared.problems import Busy, NotAllowed, NotFound, Problem


@require_safe
def patterns(request):
    return render(request, "shared/patterns.html", patterns_context())


def csrf_failure(request, reason=""):
    return answer_problem(
        request, NotAllowed("This page was open too long or in another window. Load it again.")
    )


def page_not_found(request, exception=None):
    return answer_problem(request, NotFound("There is nothing at this address."))


def bad_request(request, exception=None):
    return answer_problem(
        request, Problem("This request cannot be read. Go back, load the page again, and try again.")
    )


def server_error(request):
    """What nobody foresaw; a database that is busy already for who is signed in, before any view, is foreseen."""
    error = sys.exc_info()[1]
    if isinstance(error, Problem) or is_busy(error):
        return answer_problem(request, error if isinstance(error, Problem) else Busy())
    problem = Problem(
        "Something went wrong here. Nothing was changed. Try again; if it comes back, tell the supervisor."
    )
    problem.status, problem.kind, problem.title = 500, "internal", "Something went wrong"
    return answer_problem(request, problem)
