"""The thread that tells webhooks of events, beside the long work of the same process.

Each webhook gets one message at a time, in the order of the feed; several webhooks are told at once, so that one that
does not answer holds no other up.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime

from django.conf import settings
from django.db import Error, close_old_connections, connection
from django.utils import timezone

from fittings.events import events_number
from shared.problems import Busy
from shopfloor.models import Webhook
from shopfloor.outward.reaching import NotReached, post
from shopfloor.outward.signing import signed_headers
from shopfloor.outward.webhooks import Message, message_claim, message_settle

log = logging.getLogger(__name__)

LOOK_SECONDS = 1.0
AT_ONCE = 4
AGENT = "round-fittings-shop"


def message_send(message: Message, *, clock: Callable[[], datetime] = timezone.now) -> None:
    """Send one message and keep what came of it."""
    headers = {"Content-Type": "application/json", "User-Agent": AGENT}
    headers |= signed_headers(
        secret=message.webhook.secret,
        message_id=message.message_id,
        timestamp=int(clock().timestamp()),
        body=message.body,
    )
    try:
        answer = post(
            message.webhook.address,
            body=message.body,
            headers=headers,
            is_private_allowed=settings.WEBHOOKS_PRIVATE,
        )
        status, words = answer.status, answer.words
    except NotReached as error:
        status, words = None, str(error)
    message_settle(message=message, status=status, words=words, now=clock())


def messages_send(*, clock: Callable[[], datetime] = timezone.now) -> int:
    """Send all that is due, one after the other. How many those were."""
    events_number()
    count = 0
    while (message := message_claim(now=clock())) is not None:
        message_send(message, clock=clock)
        count += 1
    return count


class Sender:
    """Looks once a second for what is due, until told to leave."""

    def __init__(self):
        self._is_leaving = threading.Event()

    def start(self) -> None:
        threading.Thread(target=self._run, name="webhooks", daemon=True).start()

    def leave(self) -> None:
        self._is_leaving.set()

    def _run(self) -> None:
        with ThreadPoolExecutor(AT_ONCE, thread_name_prefix="webhook") as pool:
            under_way = threading.Semaphore(AT_ONCE)
            while not self._is_leaving.is_set():
                if not self._claim_one(pool, under_way):
                    self._is_leaving.wait(LOOK_SECONDS)
        connection.close()

    def _claim_one(self, pool: ThreadPoolExecutor, under_way: threading.Semaphore) -> bool:
        under_way.acquire()
        try:
            message = None
            if Webhook.objects.filter(is_active=True).exists():
                events_number()
                message = message_claim(now=timezone.now())
        except (Busy, Error) as error:
            log.warning("Webhooks cannot use the database, and try again: %s", error)
            message = None
        close_old_connections()
        if message is None:
            under_way.release()
            return False
        pool.submit(self._send, message, under_way)
        return True

    @staticmethod
    def _send(message: Message, under_way: threading.Semaphore) -> None:
        try:
            message_send(message)
        except Exception:  # the claim ends by itself, and the message is sent again
            log.exception("The message to %s was not settled", message.webhook)
        finally:
            connection.close()
            under_way.release()
