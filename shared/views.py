"""Pages that belong to no package: the components, and what is shown when nothing else can be."""

from django.shortcuts import render

from shared.middleware import answer_problem
from shared.patterns import patterns_context
from shared.problems import NotAllowed, NotFound, Problem


def patterns(request):
    return render(request, "shared/patterns.html", patterns_context())


def csrf_failure(request, reason=""):
    return answer_problem(
        request, NotAllowed("This page was open too long or in another window. Load it again.")
    )


def page_not_found(request, exception=None):
    return answer_problem(request, NotFound("There is nothing at this address."))


def server_error(request):
    problem = Problem(
        "Something went wrong here. Nothing was changed. Try again; if it comes back, tell the supervisor."
    )
    problem.status, problem.kind, problem.title = 500, "internal", "Something went wrong"
    return answer_problem(request, problem)
