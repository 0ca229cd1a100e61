"""Pages as a browser without scripts gets them: somebody signed in, and the words that are read."""

from __future__ import annotations

import re
from html import unescape

from django.test import Client

from tests import factories


def browser_of(role: str = "office", **extra) -> Client:
    """A browser with someone of that role signed in; "" is nobody."""
    client = Client(**extra)
    if role:
        client.force_login(factories.person(role), backend="django.contrib.auth.backends.ModelBackend")
    return client


def text_of(answer) -> str:
    """The words of a page as they are read: no tags, no scripts and drawings, single spaces."""
    return _words(re.sub(r"<(script|svg)\b.*?</\1>", " ", answer.content.decode(), flags=re.S))


def alert_of(answer) -> str:
    """What a page says that is wrong."""
    found = re.search(r'<div class="form-errors".*?</div>', answer.content.decode(), re.S)
    assert found, "no problem is said on the page"
    return _words(found[0])


def _words(html: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())
