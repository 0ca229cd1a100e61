"""/api/v1/people/: who signs in with a password. No answer holds a password."""

from __future__ import annotations

from django.utils import timezone
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.decorators import api_view
from rest_framework.response import Response

from fittings import api_schema as schema
from fittings.idempotency import answer_once
from shared.api import json_object, paged
from shared.problems import FieldError, WrongInput
from shared.roles import OFFICE, Actor, actor_of
from shopfloor import people
from shopfloor.access import LONGEST_PASSWORD
from shopfloor.models import Person

TEXTS = ("username", "full_name", "role", "password")


class PersonOut(serializers.Serializer):
    username = serializers.CharField()
    full_name = serializers.CharField(allow_blank=True)
    role = serializers.ChoiceField(choices=Person.Role.choices)
    is_active = serializers.BooleanField()
    signed_in_at = serializers.DateTimeField(allow_null=True, help_text="Last, with the password.")


class PersonIn(serializers.Serializer):
    username = serializers.CharField(max_length=50, help_text=people.USERNAME_RULE)
    full_name = serializers.CharField(max_length=people.LONGEST_FULL_NAME)
    role = serializers.ChoiceField(choices=Person.Role.choices)
    password = serializers.CharField(
        min_length=10, max_length=LONGEST_PASSWORD, write_only=True, help_text="Your own; none is made here."
    )


class PersonChangeIn(serializers.Serializer):
    full_name = serializers.CharField(max_length=people.LONGEST_FULL_NAME, required=False)
    role = serializers.ChoiceField(choices=Person.Role.choices, required=False)
    is_active = serializers.BooleanField(required=False)
    password = serializers.CharField(
        required=False,
        min_length=10,
        max_length=LONGEST_PASSWORD,
        write_only=True,
        help_text="Alone, without others.",
    )


class PersonChangeOut(serializers.Serializer):
    at = serializers.DateTimeField()
    username = serializers.CharField()
    what = serializers.CharField()
    by = serializers.CharField()


@extend_schema(
    methods=["GET"],
    operation_id="people_list",
    tags=["people"],
    parameters=schema.PAGING,
    responses=schema.answers(404, _200=schema.paged(PersonOut)),
    description="Everyone who signs in with a password, those in use first.",
)
@extend_schema(
    methods=["POST"],
    operation_id="people_create",
    tags=["people"],
    parameters=[schema.IDEMPOTENCY_KEY],
    request=PersonIn,
    responses=schema.answers(400, 409, 413, 415, 422, _201=PersonOut),
    description="A new user.",
)
@api_view(["GET", "POST"])
def person_list(request):
    """Users: list and add."""
    actor = actor_of(request, OFFICE)
    if request.method == "GET":
        return paged(request, people.people_list(), person_answer)
    body = json_object(request)
    values = _texts(body)

    def make():
        return 201, person_answer(people.person_add(**values, actor=actor, now=timezone.now()))

    return answer_once(request, actor, make, body={**body, "password": ""})


@extend_schema(
    methods=["GET"],
    operation_id="people_retrieve",
    tags=["people"],
    responses=schema.answers(404, _200=PersonOut),
)
@extend_schema(
    methods=["PATCH"],
    operation_id="people_change",
    tags=["people"],
    request=PersonChangeIn,
    responses=schema.answers(400, 404, 409, 413, 415, _200=PersonOut),
    description="Change the fields that are given. An account that is closed, or gets another password, is signed out "
    "everywhere and its keys are revoked. The last office or supervisor account in use stays as it is: 409.",
)
@api_view(["GET", "PATCH"])
def person_detail(request, name: str):
    """One user: read and change."""
    actor = actor_of(request, OFFICE)
    if request.method == "GET":
        return Response(person_answer(people.person_get(name)))
    return Response(person_answer(_changed(name, json_object(request), actor)))


def _changed(name: str, body: dict, actor: Actor) -> Person:
    now = timezone.now()
    if "password" not in body:
        return people.person_change(username=name, data=body, actor=actor, now=now)
    password = body["password"]
    if not isinstance(password, str) or len(body) > 1:
        message = "password can be a text, sent alone."
        raise WrongInput([FieldError("password", None, "a text, sent alone", message)])
    return people.person_set_password(username=name, password=password, actor=actor, now=now)


@extend_schema(
    operation_id="people_changes",
    tags=["people"],
    parameters=schema.PAGING,
    responses=schema.answers(404, _200=schema.paged(PersonChangeOut)),
    description="What was done to accounts, the newest first.",
)
@api_view(["GET"])
def person_changes(request):
    """What was done to accounts."""
    actor_of(request, OFFICE)
    return paged(
        request,
        people.people_changes(),
        lambda one: {
            "at": one.at,
            "username": one.person.username,
            "what": people.change_text(one),
            "by": one.by,
        },
    )


def person_answer(person: Person) -> dict:
    return {
        "username": person.username,
        "full_name": person.get_full_name(),
        "role": person.role,
        "is_active": person.is_active,
        "signed_in_at": person.last_login,
    }


def _texts(body: dict) -> dict[str, str]:
    """The four texts of a new user; what is missing is empty, and then refused by its own sentence."""
    limit = ", ".join(TEXTS)
    errors = [
        FieldError(name[:40], None, limit, f"“{name[:40]}” is no field here; the fields are {limit}.")
        for name in body
        if name not in TEXTS
    ]
    for name in TEXTS:
        if name in body and not isinstance(body[name], str):
            errors.append(FieldError(name, None, "a text", f"{name} can be a text."))
    if errors:
        raise WrongInput(errors)
    return {name: body.get(name, "") for name in TEXTS}
