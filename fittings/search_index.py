"""The words of lines kept beside them, written in the transaction that changes the order."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from django.db import transaction

from fittings.models import Order, OrderLine, SearchPlace, SearchWord
from fittings.search_words import line_words
from shared import rows

TOGETHER = 500
WITHOUT_WORDS = frozenset(("state", "due", "priority", "notes", "customer", "note"))
"""What of an order changes without changing a word of its lines; customers are found by their own names."""
_READ = (
    "pk",
    "kind",
    "material",
    "gauge",
    "params",
    "tag",
    "system",
    "order__number",
    "order__purchase_order",
)


def order_indexed(order: Order, changed: Iterable[str] | None = None) -> None:
    """Write the words of an order's lines anew, in the caller's transaction.

    changed  the fields of the order that changed; None is all of them
    """
    if changed is not None and WITHOUT_WORDS.issuperset(changed):
        return
    SearchPlace.objects.filter(line__order=order).delete()
    for part in _parts(OrderLine.objects.filter(order=order, ended_version=None)):
        _insert(part)


def _parts(lines) -> Iterator[dict[int, set[str]]]:
    """Lines by primary key, with their words, some hundred at a time."""
    last = 0
    while True:
        found = list(lines.filter(pk__gt=last).order_by("pk").values(*_READ)[:TOGETHER])
        if not found:
            return
        yield {line["pk"]: _words(line) for line in found}
        last = found[-1]["pk"]


def _words(line: Mapping[str, Any]) -> set[str]:
    return line_words(line, number=line["order__number"], purchase_order=line["order__purchase_order"])


def _insert(of_lines: Mapping[int, set[str]]) -> None:
    ids = _ids(sorted(set().union(*of_lines.values())))
    rows.execute_many(
        "INSERT INTO fittings_searchplace (word_id, line_id) VALUES (%s, %s)",
        [(ids[word], line) for line, words in of_lines.items() for word in sorted(words)],
    )


def _ids(words: Sequence[str]) -> dict[str, int]:
    """The ids of words, those that are new among them made; in their order, so that two makers never wait crosswise."""
    known = _known(words)
    new = [word for word in words if word not in known]
    if new:
        SearchWord.objects.bulk_create(
            [SearchWord(word=word) for word in new], ignore_conflicts=True, batch_size=TOGETHER
        )
        known |= _known(new)
    return known


def _known(words: Sequence[str]) -> dict[str, int]:
    known: dict[str, int] = {}
    for start in range(0, len(words), TOGETHER):
        found = SearchWord.objects.filter(word__in=words[start : start + TOGETHER])
        known.update(found.values_list("word", "pk"))
    return known


# -- all of it ---------------------------------------------------------------------


def index_rebuild() -> int:
    """Write the words of all lines anew. How many lines there are."""
    count = 0
    with transaction.atomic():
        SearchPlace.objects.all().delete()
        SearchWord.objects.all().delete()
        for part in _parts(OrderLine.objects.filter(ended_version=None)):
            _insert(part)
            count += len(part)
    return count


def index_begin() -> int:
    """Write the words where there are lines and no words at all: the data is of a time before there was a search."""
    if SearchPlace.objects.exists() or not OrderLine.objects.exists():
        return 0
    return index_rebuild()


def index_differences() -> tuple[list[str], int]:
    """A sentence for each line whose stored words are not its own, and how many lines were looked at."""
    wrong, count = [], 0
    for part in _parts(OrderLine.objects.all()):
        ended = set(
            OrderLine.objects.filter(pk__in=part).exclude(ended_version=None).values_list("pk", flat=True)
        )
        stored: dict[int, set[str]] = {pk: set() for pk in part}
        for line, word in SearchPlace.objects.filter(line__in=part).values_list("line", "word__word"):
            stored[line].add(word)
        for pk, words in part.items():
            own = set() if pk in ended else words
            if own != stored[pk]:
                odd = ", ".join(sorted(own ^ stored[pk])[:5])
                wrong.append(f"Line {pk} is not found by its own words: {odd}.")
        count += len(part)
    return wrong, count
