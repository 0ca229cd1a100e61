"""The blank screen of a list that could not be read: since when, how to try again, what still works."""

from functools import wraps

from django.db import OperationalError
from django.shortcuts import render
from django.utils import timezone

from shared.middleware import is_busy


def says_when_not_loaded(title: str):
    """A list whose database is busy says so in its own frame, with a way to try again."""

    def decorate(view):
        @wraps(view)
        def guarded(request, *args, **kwargs):
            try:
                return view(request, *args, **kwargs)
            except OperationalError as error:
                if not is_busy(error):
                    raise
            response = render(
                request, "fittings/not_loaded.html", {"title": title, "at": timezone.now()}, status=503
            )
            response["Retry-After"] = "2"
            return response

        return guarded

    return decorate
