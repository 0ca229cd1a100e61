"""Who acts: the Actor, the roles, and the decorators that keep a view to them.

The outermost package turns a session or a key into an Actor and puts it on the request as `request.actor`; everything
below asks only this.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps

from django.conf import settings
from django.http import HttpResponseNotAllowed
from django.shortcuts import redirect, resolve_url
from django.utils.http import urlencode

from shared.problems import NotAllowed, NotSignedIn

OFFICE = "office"
OPERATOR = "operator"
SUPERVISOR = "supervisor"
DISPLAY = "display"

PAGE_METHODS = ("GET", "HEAD", "POST")
ROLE_NAMES = {
    OFFICE: "Office",
    OPERATOR: "Operator",
    SUPERVISOR: "Supervisor",
    DISPLAY: "Display",
}


@dataclass(frozen=True)
class Actor:
    """Who does something. A station's tablet is an operator; its badge comes with each scan.

    scopes  of a program what it may do; None for everybody else, whom the role alone binds
    """

    name: str
    role: str
    station: str = ""
    operations: tuple[str, ...] = ()
    key_id: int | None = None
    scopes: frozenset[str] | None = None


def actor_of(request, *roles: str) -> Actor:
    """The request's actor, if it holds one of the roles.

    raises  NotSignedIn, NotAllowed
    """
    actor = getattr(request, "actor", None)
    if actor is None:
        raise NotSignedIn()
    if roles and actor.role not in roles:
        raise NotAllowed(role=actor.role, needed=roles)
    return actor


def role_required(*roles: str) -> Callable:
    """A page for these roles only. Someone not signed in is sent to sign in; another role gets the sentence.

    A page is opened and its forms are sent; other methods are none of a page's.
    """

    def decorate(view: Callable) -> Callable:
        @wraps(view)
        def guarded(request, *args, **kwargs):
            try:
                actor_of(request, *roles)
            except NotSignedIn:
                if request.method in ("GET", "HEAD"):
                    return redirect(
                        f"{resolve_url(settings.LOGIN_URL)}?{urlencode({'next': request.get_full_path()})}"
                    )
                raise
            if request.method not in PAGE_METHODS:
                return HttpResponseNotAllowed(PAGE_METHODS)
            return view(request, *args, **kwargs)

        guarded.roles = roles
        return guarded

    return decorate
