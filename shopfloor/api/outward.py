"""/api/v1/events/, webhooks/ and programs/: what goes out to other systems, and the keys that they come in with."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema, inline_serializer
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings import events
from fittings.idempotency import answer_once
from fittings.reading import Reading
from shared.api import json_object
from shared.problems import WrongInput
from shared.roles import OFFICE, SUPERVISOR, actor_of
from shopfloor.models import Key, Program, Webhook, WebhookTry
from shopfloor.outward import programs as program_services
from shopfloor.outward import webhooks as webhook_services
from shopfloor.scopes import SCOPES
from travelers.pulse import pulse_epoch

MOST_EVENTS = 500
KINDS_SAID = ", ".join(events.KINDS)
HERE = "/api/v1/events/"


class EventOut(serializers.Serializer):
    number = serializers.IntegerField(
        help_text="Its place in the feed; `since` takes the last one that was read."
    )
    id = serializers.CharField(help_text="The same on every delivery of a webhook, also after a restore.")
    type = serializers.CharField(help_text=KINDS_SAID)
    timestamp = serializers.DateTimeField()
    data = serializers.DictField(help_text="The order; of a fitting its code, line and tag too.")


class WebhookIn(serializers.Serializer):
    name = serializers.CharField(max_length=60)
    address = serializers.CharField(max_length=500, help_text="https:// or http://, a public host.")
    kinds = serializers.ListField(
        child=serializers.CharField(), required=False, help_text=f"{KINDS_SAID}; empty: all."
    )
    is_active = serializers.BooleanField(required=False)


class TryOut(serializers.Serializer):
    event = serializers.IntegerField(allow_null=True)
    type = serializers.CharField()
    at = serializers.DateTimeField()
    status = serializers.IntegerField(allow_null=True)
    words = serializers.CharField(allow_blank=True)
    is_taken = serializers.BooleanField()


class WebhookOut(WebhookIn):
    id = serializers.IntegerField()
    state = serializers.CharField()
    reached = serializers.IntegerField(
        help_text="The number of the last event that it took, or that was left out."
    )
    next_at = serializers.DateTimeField(allow_null=True)
    secret = serializers.CharField(required=False, help_text="Told when it is made and when it is made anew.")
    sent = TryOut(many=True, required=False)


class ProgramIn(serializers.Serializer):
    name = serializers.CharField(max_length=60)
    scopes = serializers.ListField(child=serializers.CharField(), help_text=", ".join(SCOPES))
    expires = serializers.DateField(required=False, help_text="The last day on which the key is good.")


class ProgramOut(serializers.Serializer):
    id = serializers.IntegerField()
    name = serializers.CharField()
    scopes = serializers.ListField(child=serializers.CharField())
    is_active = serializers.BooleanField()
    expires_at = serializers.DateTimeField(allow_null=True)
    seen_at = serializers.DateTimeField(allow_null=True)
    key = serializers.CharField(required=False, help_text="Told this once.")


# -- the feed ----------------------------------------------------------------


@extend_schema(
    operation_id="events",
    tags=["events"],
    parameters=[
        OpenApiParameter("since", OpenApiTypes.INT, description="Events after this number, oldest first."),
        OpenApiParameter("kind", OpenApiTypes.STR, description=f"Only this kind: {KINDS_SAID}."),
        OpenApiParameter("page_size", OpenApiTypes.INT, description=f"1 to {MOST_EVENTS}."),
    ],
    responses=schema.answers(
        400,
        _200=inline_serializer(
            "EventFeed",
            {
                "count": serializers.IntegerField(help_text="How many there are after `since`."),
                "next": serializers.CharField(allow_null=True),
                "previous": serializers.CharField(allow_null=True),
                "epoch": serializers.CharField(help_text="Changes when a backup is restored."),
                "last": serializers.IntegerField(help_text="The `since` for the next question."),
                "results": EventOut(many=True),
            },
        ),
    ),
    description="Append-only. A reader that asks for what came after the last number it saw never misses an event.",
)
@api_view(["GET"])
def event_feed(request):
    """What happened to orders and fittings, in one order."""
    actor_of(request, OFFICE, SUPERVISOR)
    since, size = _whole(request, "since", 0, 2**62, 0), _whole(request, "page_size", 1, MOST_EVENTS, 100)
    kind = request.query_params.get("kind", "")
    if kind and kind not in events.KINDS:
        reading = Reading({"kind": kind})
        reading.wrong("kind", kind, KINDS_SAID)
        raise WrongInput(reading.errors)
    events.events_number()
    kinds = (kind,) if kind else ()
    found, count = events.events_after(since, kinds=kinds, most=size), events.events_count(since, kinds=kinds)
    last = found[-1].number if found else since
    more = f"{HERE}?since={last}&page_size={size}" + (f"&kind={kind}" if kind else "")
    return Response(
        {
            "count": count,
            "next": more if count > len(found) else None,
            "previous": None,
            "epoch": pulse_epoch(),
            "last": last,
            "results": [
                {"number": one.number, "id": f"msg_{one.key}", **events.event_body(one)} for one in found
            ],
        }
    )


def _whole(request, name: str, low: int, high: int, usual: int) -> int:
    text = request.query_params.get(name, "")
    value = int(text) if text.isascii() and text.isdecimal() and len(text) <= 19 else text
    reading = Reading({name: value} if text else {})
    found = reading.whole(name, low, high, usual=usual)
    if reading.errors:
        raise WrongInput(reading.errors)
    return found


# -- webhooks ----------------------------------------------------------------


@extend_schema(
    methods=["GET"],
    operation_id="webhooks_list",
    tags=["events"],
    responses={200: inline_serializer("Webhooks", {"results": WebhookOut(many=True)})},
)
@extend_schema(
    methods=["POST"],
    operation_id="webhook_add",
    tags=["events"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=WebhookIn,
    responses=schema.answers(400, 409, 422, _201=WebhookOut),
    description=(
        "Messages follow the open specification Standard Webhooks: headers webhook-id, webhook-timestamp and "
        "webhook-signature (v1, HMAC-SHA256), one at a time in the order of the feed. A message that is not answered "
        "with 2xx within 10 s is sent again after 5 s, 1 and 5 and 30 minutes, 2, 8 and 24 hours; then the webhook "
        "stops until somebody lets it go on. A message can come twice: its id is the same."
    ),
)
@api_view(["GET", "POST"])
def webhooks(request):
    """The webhooks; or a new one, told of what comes from now on."""
    actor = actor_of(request, OFFICE)
    if request.method == "GET":
        return Response({"results": [_webhook(one) for one in Webhook.objects.order_by("name", "pk")]})
    body = json_object(request)

    def make():
        webhook = webhook_services.webhook_add(data=body, actor=actor, now=timezone.now())
        return 201, _webhook(webhook) | {"secret": webhook.secret}

    return answer_once(request, actor, make)


@extend_schema(
    methods=["GET"],
    operation_id="webhook",
    tags=["events"],
    responses=schema.answers(404, _200=WebhookOut),
    description="With the messages that it was sent lately, the newest first.",
)
@extend_schema(
    methods=["PATCH"],
    operation_id="webhook_change",
    tags=["events"],
    request=WebhookIn,
    responses=schema.answers(400, 404, _200=WebhookOut),
)
@extend_schema(
    methods=["DELETE"],
    operation_id="webhook_remove",
    tags=["events"],
    responses=schema.answers(404, _204=None),
)
@api_view(["GET", "PATCH", "DELETE"])
def webhook(request, pk):
    """One webhook: read, changed, or taken away."""
    actor, now = actor_of(request, OFFICE), timezone.now()
    if request.method == "DELETE":
        webhook_services.webhook_remove(pk=pk, actor=actor, now=now)
        return Response(status=204)
    if request.method == "PATCH":
        found = webhook_services.webhook_change(pk=pk, data=json_object(request), actor=actor, now=now)
        return Response(_webhook(found))
    found = webhook_services.webhook_get(pk)
    sent = found.sent.order_by("-pk")[: webhook_services.KEPT_TRIES]
    return Response(_webhook(found) | {"sent": [_try(one) for one in sent]})


@extend_schema(
    operation_id="webhook_go_on",
    tags=["events"],
    request=inline_serializer("WebhookGoOn", {"leaves_out": serializers.BooleanField(required=False)}),
    responses=schema.answers(400, 404, 409, _200=WebhookOut),
    description="Tries the next event at once; with `leaves_out` that one is passed over.",
)
@api_view(["POST"])
def webhook_go_on(request, pk):
    """Let a webhook go on."""
    actor = actor_of(request, OFFICE)
    leaves_out = json_object(request).get("leaves_out") is True
    found = webhook_services.webhook_go_on(pk=pk, leaves_out=leaves_out, actor=actor, now=timezone.now())
    return Response(_webhook(found))


@extend_schema(
    operation_id="webhook_secret",
    tags=["events"],
    request=None,
    responses=schema.answers(404, _200=WebhookOut),
)
@api_view(["POST"])
def webhook_secret(request, pk):
    """Another secret, good from the next message on."""
    actor = actor_of(request, OFFICE)
    found = webhook_services.webhook_new_secret(pk=pk, actor=actor, now=timezone.now())
    return Response(_webhook(found) | {"secret": found.secret})


@extend_schema(
    operation_id="webhook_trial",
    tags=["events"],
    request=None,
    responses=schema.answers(404, _202=WebhookOut),
)
@api_view(["POST"])
def webhook_trial(request, pk):
    """Ask for a trial message, which is no event of the feed."""
    actor = actor_of(request, OFFICE)
    return Response(
        _webhook(webhook_services.webhook_try(pk=pk, actor=actor, now=timezone.now())), status=202
    )


# -- programs ----------------------------------------------------------------


@extend_schema(
    methods=["GET"],
    operation_id="programs_list",
    tags=["programs"],
    responses={200: inline_serializer("Programs", {"results": ProgramOut(many=True)})},
)
@extend_schema(
    methods=["POST"],
    operation_id="program_add",
    tags=["programs"],
    request=ProgramIn,
    responses=schema.answers(400, _201=ProgramOut),
    description="A person's key only: a program makes no keys. The key is told this once.",
)
@api_view(["GET", "POST"])
def programs(request):
    """Other systems and what their keys may do; or a new one."""
    actor = actor_of(request, OFFICE)
    if request.method == "GET":
        return Response({"results": [_program(*row) for row in program_services.program_rows()]})
    found, secret = program_services.program_add(data=json_object(request), actor=actor, now=timezone.now())
    return Response(_program(found, found.keys.get()) | {"key": secret}, status=201)


@extend_schema(
    operation_id="program_change",
    tags=["programs"],
    request=inline_serializer(
        "ProgramChange",
        {
            "scopes": serializers.ListField(child=serializers.CharField(), required=False),
            "is_active": serializers.BooleanField(required=False),
        },
    ),
    responses=schema.answers(400, 404, _200=ProgramOut),
)
@api_view(["PATCH"])
def program(request, pk):
    """Change what a program may do, or shut it out."""
    actor = actor_of(request, OFFICE)
    found = program_services.program_change(pk=pk, data=json_object(request), actor=actor, now=timezone.now())
    return Response(_program(found, found.keys.filter(revoked_at=None).order_by("-pk").first()))


@extend_schema(
    operation_id="program_key",
    tags=["programs"],
    request=None,
    responses=schema.answers(404, _201=ProgramOut),
)
@api_view(["POST"])
def program_key(request, pk):
    """Another key; the ones before are dead at once."""
    actor = actor_of(request, OFFICE)
    found, secret = program_services.program_new_key(pk=pk, actor=actor, now=timezone.now())
    key = found.keys.filter(revoked_at=None).get()
    return Response(_program(found, key) | {"key": secret}, status=201)


# -- bodies ------------------------------------------------------------------


def _webhook(one: Webhook) -> dict:
    return {
        "id": one.pk,
        "name": one.name,
        "address": one.address,
        "kinds": one.kinds,
        "is_active": one.is_active,
        "state": webhook_services.webhook_state(one)[1],
        "reached": one.reached,
        "next_at": one.next_at,
    }


def _try(one: WebhookTry) -> dict:
    return {
        "event": one.event,
        "type": one.kind,
        "at": one.at,
        "status": one.status,
        "words": one.words,
        "is_taken": one.is_taken,
    }


def _program(one: Program, key: Key | None) -> dict:
    return {
        "id": one.pk,
        "name": one.name,
        "scopes": one.scopes,
        "is_active": one.is_active,
        "expires_at": key.expires_at if key else None,
        "seen_at": one.seen_at,
    }
