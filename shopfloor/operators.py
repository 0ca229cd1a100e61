"""Operators and their badges: added, named, given a language, taken out of use and back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import QuerySet

from fittings import numbering
from shared.codes import CodeNotUnderstood, read_code
from shared.problems import FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.texts import tidy
from shared.words import LANGUAGES
from travelers.languages import shop_language
from travelers.models import Operator

LONGEST_NAME = 80
FIELDS = ("name", "language", "is_active")


def operator_list() -> QuerySet[Operator]:
    """Everyone with a badge, those in use first."""
    return Operator.objects.order_by("-is_active", "name", "pk")


def operator_get(code: str) -> Operator:
    """The operator of a badge, however its code is typed."""
    try:
        read = read_code(code)
    except CodeNotUnderstood:
        read = ""
    operator = Operator.objects.filter(code=read).first() if read else None
    if operator is None:
        raise NotFound(f"There is no badge “{code[:20]}”.")
    return operator


def operator_add(*, name: str, language: str = "", actor: Actor, now: datetime) -> Operator:
    """A new operator with a badge code of the shop's series. language: left out, the shop's.

    raises  WrongInput naming every wrong field
    """
    language = language or shop_language()
    name, errors = _read_name(name)
    errors += _wrong_language(language)
    if errors:
        raise WrongInput(errors)
    with transaction.atomic():
        return Operator.objects.create(code=numbering.take(1)[0], name=name, language=language)


def operator_change(*, code: str, data: Mapping[str, Any], actor: Actor, now: datetime) -> Operator:
    """Change what is given of name, language, is_active. A badge's code stays: the record names the operator by it.

    raises  NotFound; WrongInput naming every wrong field
    """
    operator = operator_get(code)
    values, errors = dict(data), []
    for field in map(str, data):
        if field not in FIELDS:
            limit = ", ".join(FIELDS)
            message = f"“{field[:40]}” cannot be changed; {limit} can."
            errors.append(FieldError(field[:40], None, limit, message))
    if "name" in data:
        values["name"], wrong = _read_name(data["name"])
        errors += wrong
    if "language" in data:
        errors += _wrong_language(str(data["language"]))
    if "is_active" in data and not isinstance(data["is_active"], bool):
        message = "is_active can be true or false."
        errors.append(FieldError("is_active", data["is_active"], "true or false", message))
    if errors:
        raise WrongInput(errors)
    for field, value in values.items():
        setattr(operator, field, value)
    operator.save(update_fields=list(values))
    return operator


def _read_name(given: Any) -> tuple[str, list[FieldError]]:
    name = tidy(given) if isinstance(given, str) else None
    if name and len(name) <= LONGEST_NAME:
        return name, []
    limit = f"1 to {LONGEST_NAME} characters"
    return "", [FieldError("name", given, limit, f"Enter the name, {limit}.")]


def _wrong_language(language: str) -> list[FieldError]:
    known = dict(LANGUAGES)
    if language in known:
        return []
    limit = ", ".join(known)
    message = f"The language is “{language[:20]}”; it can be {limit}."
    return [FieldError("language", language[:20], limit, message)]
