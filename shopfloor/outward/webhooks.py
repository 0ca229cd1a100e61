"""Webhooks: added, changed, let go on, taken away; and the next message of each, claimed and settled."""

from __future__ import annotations

import json
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db import IntegrityError, transaction
from django.db.models import Q

from fittings.events import KINDS, event_body, events_after, events_count, events_number, last_number
from fittings.reading import Reading
from shared.problems import Conflict, FieldError, NotFound, WrongInput
from shared.roles import Actor
from shared.turn import write_turn
from shopfloor.models import Webhook, WebhookTry
from shopfloor.outward.reaching import LONGEST_ADDRESS, address_wrong
from shopfloor.outward.signing import KEY_BYTES, secret_of

MOST_WEBHOOKS = 50
TRIAL = "trial"
PAUSES = tuple(
    timedelta(seconds=seconds) for seconds in (5, 60, 5 * 60, 30 * 60, 2 * 3600, 8 * 3600, 24 * 3600)
)
"""Before the second try, the third, …; after the last the webhook is stopped and waits for somebody."""
TAKEN_FOR = timedelta(seconds=60)
GONE = 410
KEPT_TRIES = 200
FIELDS = ("name", "address", "kinds", "is_active")


@dataclass(frozen=True)
class Message:
    """What is to be sent to one webhook now. `event` is None for a trial."""

    webhook: Webhook
    message_id: str
    kind: str
    body: bytes
    event: int | None


# -- changes ----------------------------------------------------------------


def webhook_add(*, data: Mapping[str, Any], actor: Actor, now: datetime) -> Webhook:
    """A new webhook, told of what comes from now on; its secret is made.

    data    name, address, kinds (a list of kinds of events, empty for all)
    raises  WrongInput naming every wrong field
    """
    values = _read(data, is_new=True)
    if Webhook.objects.count() >= MOST_WEBHOOKS:
        message = f"There are {MOST_WEBHOOKS} webhooks, the most there can be. Take one away first."
        raise WrongInput([FieldError("name", values["name"], f"{MOST_WEBHOOKS} webhooks", message)])
    events_number()  # what was before is not told
    values |= {"secret": _new_secret(), "reached": last_number(), "made_at": now, "made_by": actor.name}
    return _saved(Webhook(**values))


def webhook_change(*, pk: int, data: Mapping[str, Any], actor: Actor, now: datetime) -> Webhook:
    """Change the given fields. One that is not active is told nothing, and later of all that it missed.

    raises  NotFound; WrongInput
    """
    values = _read(data, is_new=False)
    with write_turn(), transaction.atomic():
        webhook = _locked(pk)
        for name, value in values.items():
            setattr(webhook, name, value)
        if "address" in values:
            webhook.tries, webhook.next_at, webhook.stopped = 0, None, ""
        return _saved(webhook)


def webhook_new_secret(*, pk: int, actor: Actor, now: datetime) -> Webhook:
    """Another secret, good from the next message on.

    raises  NotFound
    """
    with write_turn(), transaction.atomic():
        webhook = _locked(pk)
        webhook.secret = _new_secret()
        webhook.save(update_fields=["secret"])
    return webhook


def webhook_go_on(*, pk: int, leaves_out: bool = False, actor: Actor, now: datetime) -> Webhook:
    """Try the next event at once, also after it was stopped.

    leaves_out  the event that it does not take is passed over
    raises      NotFound; Conflict where there is nothing to leave out
    """
    with write_turn(), transaction.atomic():
        webhook = _locked(pk)
        if leaves_out:
            waiting = _next_event(webhook)
            if waiting is None:
                raise Conflict(f"Nothing waits for {webhook.name}.")
            webhook.reached = waiting.number
        webhook.tries, webhook.next_at, webhook.stopped = 0, None, ""
        webhook.save(update_fields=["reached", "tries", "next_at", "stopped"])
    return webhook


def webhook_try(*, pk: int, actor: Actor, now: datetime) -> Webhook:
    """Ask for a trial message: it is sent beside the events and is none of them.

    raises  NotFound
    """
    with write_turn(), transaction.atomic():
        webhook = _locked(pk)
        webhook.trial_at = now
        webhook.save(update_fields=["trial_at"])
    return webhook


def webhook_remove(*, pk: int, actor: Actor, now: datetime) -> str:
    """Take it away with its list of messages; the feed stays. Returns its name.

    raises  NotFound
    """
    with write_turn(), transaction.atomic():
        webhook = _locked(pk)
        webhook.delete()
    return webhook.name


# -- reads ------------------------------------------------------------------


def webhook_get(pk: int) -> Webhook:
    """raises  NotFound"""
    webhook = Webhook.objects.filter(pk=pk).first()
    if webhook is None:
        raise NotFound("There is no such webhook.")
    return webhook


def webhook_state(webhook: Webhook) -> tuple[str, str]:
    """How it stands: good, act (somebody must see to it), wait or off; and that in words."""
    if not webhook.is_active:
        return "off", "Off"
    if webhook.stopped:
        return "act", f"Stopped: {webhook.stopped}"
    if webhook.tries:
        return "act", f"{webhook.tries} {'try' if webhook.tries == 1 else 'tries'} failed"
    behind = events_count(webhook.reached, kinds=webhook.kinds)
    if behind:
        return "wait", f"{behind} {'event' if behind == 1 else 'events'} to send"
    return "good", "Told of everything"


# -- sending ----------------------------------------------------------------


def message_claim(*, now: datetime) -> Message | None:
    """The next message that is due, of a webhook that nobody else sends to now; None where there is none.

    Events of kinds that a webhook did not ask for are passed over. The claim holds for a minute: a process that dies
    while it sends leaves the message to be sent again, with the same id.
    """
    free = Q(taken_to=None) | Q(taken_to__lte=now)
    due = Q(stopped="") & (Q(next_at=None) | Q(next_at__lte=now)) & Q(reached__lt=last_number())
    for webhook in Webhook.objects.filter(free, due | Q(trial_at__isnull=False), is_active=True).order_by(
        "pk"
    ):
        message = _trial(webhook) or _message(webhook)
        if message is None:
            continue
        with write_turn():
            mine = Webhook.objects.filter(free, pk=webhook.pk, reached=webhook.reached, is_active=True)
            if mine.update(taken_to=now + TAKEN_FOR):
                return message
    return None


def message_settle(
    *, message: Message, status: int | None, words: str, now: datetime, pauses: tuple[timedelta, ...] = PAUSES
) -> None:
    """Keep what came of a message: taken (2xx), or tried again after a pause, or stopped for somebody to see to."""
    is_taken = status is not None and 200 <= status < 300
    with write_turn(), transaction.atomic():
        webhook = Webhook.objects.select_for_update().filter(pk=message.webhook.pk).first()
        if webhook is None:
            return
        WebhookTry.objects.create(
            webhook=webhook, event=message.event, kind=message.kind, at=now, status=status, words=words[:200],
            is_taken=is_taken,
        )  # fmt: skip
        webhook.taken_to = None
        if message.event is None:
            webhook.trial_at = None
        elif webhook.reached < message.event:  # else somebody left it out meanwhile
            _count(webhook, message.event, is_taken, status, words, now, pauses)
        webhook.save(update_fields=["taken_to", "trial_at", "reached", "tries", "next_at", "stopped"])
        old = webhook.sent.order_by("-pk").values_list("pk", flat=True)[KEPT_TRIES : KEPT_TRIES + 1]
        for last in list(old):
            webhook.sent.filter(pk__lte=last).delete()


def _count(webhook, event: int, is_taken: bool, status, words: str, now: datetime, pauses) -> None:
    if is_taken:
        webhook.reached, webhook.tries, webhook.next_at = event, 0, None
        return
    webhook.tries += 1
    if status == GONE:
        webhook.stopped = "The address says that it is gone for good (410)."
    elif webhook.tries > len(pauses):
        why = f"the last answer was {status}" if status is not None else words.rstrip(".") or "no answer"
        webhook.stopped = f"{webhook.tries} tries failed; {why[:1].lower()}{why[1:]}."[:200]
    else:
        webhook.next_at = now + pauses[webhook.tries - 1]


def _next_event(webhook: Webhook):
    found = events_after(webhook.reached, kinds=webhook.kinds, most=1)
    return found[0] if found else None


def _message(webhook: Webhook) -> Message | None:
    if webhook.stopped or webhook.reached >= (last := last_number()):
        return None
    event = _next_event(webhook)
    if event is None:
        with write_turn():
            Webhook.objects.filter(pk=webhook.pk, reached=webhook.reached).update(reached=last)
        return None
    body = json.dumps(event_body(event), separators=(",", ":")).encode()
    return Message(webhook, f"msg_{event.key}", event.kind, body, event.number)


def _trial(webhook: Webhook) -> Message | None:
    if webhook.trial_at is None:
        return None
    body = {"type": TRIAL, "timestamp": webhook.trial_at.isoformat(), "data": {"webhook": webhook.name}}
    message_id = f"msg_trial_{webhook.pk}_{int(webhook.trial_at.timestamp())}"
    return Message(webhook, message_id, TRIAL, json.dumps(body, separators=(",", ":")).encode(), None)


# -- parts ------------------------------------------------------------------


def _locked(pk: int) -> Webhook:
    webhook = Webhook.objects.select_for_update().filter(pk=pk).first()
    if webhook is None:
        raise NotFound("There is no such webhook.")
    return webhook


def _new_secret() -> str:
    return secret_of(secrets.token_bytes(KEY_BYTES))


def _read(data: Mapping[str, Any], *, is_new: bool) -> dict[str, Any]:
    reading = Reading(data)
    reading.only(FIELDS)
    readers = {
        "name": lambda: reading.text("name", 60, shortest=1),
        "address": lambda: _address(reading),
        "kinds": lambda: _kinds(reading),
        "is_active": lambda: _is_active(reading),
    }
    wanted = {name for name in readers if name in data} | ({"name", "address"} if is_new else set())
    values = {name: read() for name, read in readers.items() if name in wanted}
    if reading.errors:
        raise WrongInput(reading.errors)
    return values


def _address(reading: Reading) -> str:
    address = reading.text("address", LONGEST_ADDRESS, shortest=1)
    wrong = address_wrong(address) if address else ""
    if wrong:
        limit = "an address that begins with https:// or http://"
        reading.errors.append(
            FieldError("address", address, limit, f"“{address[:60]}” cannot be used. {wrong}")
        )
    return address


def _kinds(reading: Reading) -> list[str]:
    value = reading.data["kinds"]
    unknown = [one for one in value if one not in KINDS] if isinstance(value, list) else [value]
    if unknown:
        reading.wrong("kinds", str(unknown[0])[:40], ", ".join(KINDS))
        return []
    return [kind for kind in KINDS if kind in value]


def _is_active(reading: Reading) -> bool:
    value = reading.data["is_active"]
    if not isinstance(value, bool):
        reading.wrong("is_active", value, "true or false")
    return value


def _saved(webhook: Webhook) -> Webhook:
    try:
        with transaction.atomic():
            webhook.save()
    except IntegrityError:
        message = f"There is a webhook “{webhook.name}” already."
        raise WrongInput([FieldError("name", webhook.name, "a name used once", message)]) from None
    return webhook
