"""The API of the board: once, and as a stream of server-sent events."""

from __future__ import annotations

import socket
from collections.abc import Callable
from functools import wraps

from django.contrib.auth import SESSION_KEY
from django.http import HttpResponse, HttpResponseNotModified, StreamingHttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiExample, OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.decorators import api_view, renderer_classes

from shared.api import Renderer
from shared.roles import DISPLAY, OFFICE, OPERATOR, SUPERVISOR, Actor, actor_of
from shopfloor.api.schema_board import BoardOut
from shopfloor.board import pulse
from shopfloor.keys import TABLET_COOKIE, actor_of_key, key_of_request
from shopfloor.live import Edition, etag, live
from shopfloor.models import Person
from shopfloor.open_streams import Line

ROLES = (OFFICE, SUPERVISOR, OPERATOR, DISPLAY)


class EventStream(Renderer):
    """Lets a request for text/event-stream through; problems still go out as JSON."""

    media_type = "text/event-stream"
    format = "events"


def _tagged(response: HttpResponse, tag: str) -> HttpResponse:
    response["ETag"] = tag
    response["Cache-Control"] = "private, no-cache"
    return response


def unchanged_first(view):
    """Answers 304 before the API's machinery starts: a display without a stream asks every two seconds all day."""

    @wraps(view)
    def first(request, *args, **kwargs):
        known = request.headers.get("If-None-Match", "")
        if known and request.method == "GET" and request.actor and request.actor.role in ROLES:
            tag = etag(*pulse())
            if tag in known:
                return _tagged(HttpResponseNotModified(), tag)
        return view(request, *args, **kwargs)

    return first


@unchanged_first
@extend_schema(
    tags=["board"],
    parameters=[
        OpenApiParameter(
            "If-None-Match", OpenApiTypes.STR, OpenApiParameter.HEADER, description="The last answer's ETag."
        )
    ],
    responses={200: BoardOut, 304: OpenApiResponse(description="Nothing changed.")},
)
@api_view(["GET"])
def board(request):
    """Per operation what waits, is ready, running, held and done today; what piles up, short kits, orders at risk.

    `hours_queued` is the work that is ready or running; `hours_clear` what the active stations do until the end of the
    working day. `bottleneck` is where the most work was offered to a station lately. Rates are over the last two hours
    of work. The ETag changes with the version and once a minute.
    """
    actor_of(request, *ROLES)
    return answer_edition(request, lambda: (live.edition().body, "application/json"))


def answer_edition(request, make: Callable[[], tuple[bytes, str]]) -> HttpResponse:
    """What `make` gives, or 304 after one query where the client has it already.

    The tag is of the version read before the content, so a tag is never newer than what it stands for.
    """
    tag = etag(*pulse())
    if tag in request.headers.get("If-None-Match", ""):
        return _tagged(HttpResponseNotModified(), tag)
    body, content_type = make()
    return _tagged(HttpResponse(body, content_type=content_type), tag)


@extend_schema(
    tags=["board"],
    responses={
        (200, "text/event-stream"): OpenApiResponse(
            OpenApiTypes.STR,
            description="`event: version`, the whole board as its data: at once, and after every change.",
            examples=[OpenApiExample("An event", "id: 12\nevent: version\ndata: {…}\n\n")],
        )
    },
)
@api_view(["GET"])
@renderer_classes([EventStream, Renderer])
def board_stream(request):
    """The board as server-sent events. A comment every 15 s shows that the line is open; `retry` is 2 s.

    A process has a limited number of seats. Beyond them the answer is one event and the end: the client polls.
    """
    return stream_of(request._request, actor_of(request, *ROLES))


def stream_of(request, actor: Actor, event: Callable[[Edition], bytes] = Edition.event) -> HttpResponse:
    """The answer that stays open. HEAD has its headers only."""
    if request.method == "HEAD":
        response = HttpResponse(content_type="text/event-stream")
    else:
        events = live.stream(
            is_allowed=_is_allowed(request, actor), event=event, take_line=lambda: _line_of(request)
        )
        response = StreamingHttpResponse(events, content_type="text/event-stream")
    response["Cache-Control"] = "no-store"
    response["X-Accel-Buffering"] = "no"
    return response


def _is_allowed(request, actor: Actor) -> Callable[[], bool]:
    """Whether the same key or session would still be let in, asked while the stream is open."""
    secret = key_of_request(request)
    person = "" if secret else request.session.get(SESSION_KEY)
    if not person:
        secret = secret or request.COOKIES.get(TABLET_COOKIE, "")
        return lambda: actor_of_key(secret) == actor
    session = request.session
    return lambda: (
        session.exists(session.session_key)
        and Person.objects.filter(pk=person, is_active=True, role=actor.role).exists()
    )


def _line_of(request) -> Line | None:
    """The client's socket, taken from the server where that is gunicorn and the socket a plain one."""
    servers = request.META.get("gunicorn.socket")
    if type(servers) is not socket.socket:
        return None
    return Line(servers, is_chunked=request.META["SERVER_PROTOCOL"] != "HTTP/1.0")
