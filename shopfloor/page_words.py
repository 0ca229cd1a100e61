"""The words of the station's page in the other languages, given to it whole: it needs no network to change its own."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from django.utils.translation.trans_real import DjangoTranslation
from django.views.i18n import JSONCatalog

from shared.words import ENGLISH, LANGUAGES

DOMAIN = "djangojs"
FOLDER = Path(__file__).parent / "locale"


@cache
def page_words() -> dict[str, dict[str, Any]]:
    """By language: English text to what is said instead; of a text that counts the forms for one and for many."""
    return {language: _catalogue(language) for language, _ in LANGUAGES if language != ENGLISH}


def _catalogue(language: str) -> dict[str, Any]:
    view = JSONCatalog(domain=DOMAIN)
    view.translation = DjangoTranslation(language, domain=DOMAIN, localedirs=[str(FOLDER)])
    return view.get_catalog()
