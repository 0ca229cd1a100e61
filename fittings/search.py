"""Lines found by words, in a few look-ups of indexes however many lines there are. Only reads."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from django.db import connection

from fittings.models import Customer, SearchWord
from fittings.search_words import Asked, folded, joined
from shared import rows

MOST_ALIKE = 60  # words that one typed beginning stands for
COUNTED = 3000  # how far it is counted which word says most
NEWEST = 200
FEW = 4  # words that are looked up one by one; beyond that the dozen words of a line are compared with them
_STANDS = "EXISTS (SELECT 1 FROM fittings_searchplace s WHERE s.line_id = l.id)"
"""Lines that no change ended are those with words; their own column lies behind the development, long to pass over."""
_IS_OPEN = (
    "EXISTS (SELECT 1 FROM fittings_orderline l JOIN fittings_order o ON o.id = l.order_id WHERE l.id = c.line_id"
    " AND o.state IN ('draft', 'released'))"
)
Part = tuple[str, Sequence[int]]
"""A piece of a statement with its parameters."""
_OPEN_LINES: Part = (
    "SELECT c.line_id FROM (SELECT l.id AS line_id, o.id AS order_id FROM fittings_order o"
    " JOIN fittings_orderline l ON l.order_id = o.id"
    f" WHERE o.state IN ('draft', 'released') AND {_STANDS}) c WHERE TRUE",
    (),
)
_OPEN_NEWEST = "c.order_id DESC, c.line_id DESC"


@dataclass(frozen=True)
class Meant:
    """What one word of a search can stand for: words of lines, and customers by their names.

    weight  about how many lines it is on, counted as far as COUNTED
    """

    asked: Asked
    words: tuple[int, ...]
    customers: tuple[int, ...]
    weight: int = 0

    @property
    def is_known(self) -> bool:
        return bool(self.words or self.customers)


def words_meant(asked: Sequence[Asked]) -> list[Meant]:
    """What the words of a search stand for. Two queries, and one or two for each word."""
    exact = {word for one in asked for word in one.exact}
    found = dict(SearchWord.objects.filter(word__in=exact).values_list("word", "pk")) if exact else {}
    names = list(Customer.objects.values_list("pk", "name")) if any(one.text for one in asked) else []
    return [_meant(one, found, names) for one in asked]


def _meant(asked: Asked, found: dict[str, int], names: Iterable[tuple[int, str]]) -> Meant:
    words = [found[word] for word in asked.exact if word in found]
    if asked.prefix:
        words += [pk for pk in _beginning_with(asked.prefix) if pk not in words]
    customers = [pk for pk, name in names if asked.text and is_named(name, asked.text)]
    return Meant(asked, tuple(words), tuple(customers), _weight(words, customers))


def _beginning_with(prefix: str) -> list[int]:
    """The shortest first: they are nearest to what was typed."""
    alike = SearchWord.objects.all()
    if connection.vendor == "postgresql":
        alike = alike.filter(word__startswith=prefix)  # by its index of patterns
    else:
        alike = alike.filter(word__gte=prefix, word__lt=prefix + "\U0010ffff")
    found = alike.order_by("word").values_list("word", "pk")[:MOST_ALIKE]
    return [pk for _, pk in sorted(found, key=lambda one: (len(one[0]), one[0]))]


def is_named(name: str, text: str) -> bool:
    """Whether some word of a name, or all of it together, begins with the text."""
    return any(word.startswith(text) for word in _name_words(name))


@lru_cache(maxsize=20_000)
def _name_words(name: str) -> tuple[str, ...]:
    small = folded(name)
    return (*(joined(word) for word in small.split()), joined(small))


def lines_found(meant: Sequence[Meant], *, open_only: bool = False, limit: int = NEWEST) -> list[int]:
    """Ids of the newest lines that every word stands for, at most `limit`.

    Goes through the lines of the word that says most, the newest first, and asks for each whether it has the others.
    open_only  of draft and released orders; goes through these where every word is on many lines
    """
    if not meant or not all(one.is_known for one in meant):
        return []
    leading = min(meant, key=lambda one: one.weight)
    if open_only and leading.weight >= COUNTED:
        return _newest([_OPEN_LINES], [_has(one) for one in meant], limit)
    conditions = [_has(one) for one in meant if one is not leading]
    if open_only:
        conditions.append((_IS_OPEN, []))
    return _newest(_lines_of(leading), conditions, limit)


def _newest(parts: Sequence[Part], conditions: Sequence[Part], limit: int) -> list[int]:
    """The newest lines of each part, and of these the newest: a part goes along its index until it has enough."""
    texts, params = [], []
    for text, own in parts:
        texts.append(" AND ".join([text, *(condition for condition, _ in conditions)]))
        params += [*own, *(one for _, more in conditions for one in more), limit]
    order = _OPEN_NEWEST if parts[0] is _OPEN_LINES else "c.line_id DESC"
    texts = [
        f"SELECT line_id FROM ({text} ORDER BY {order} LIMIT %s) found{at}" for at, text in enumerate(texts)
    ]
    sql = " UNION ".join(texts) + " ORDER BY line_id DESC LIMIT %s"
    return [pk for (pk,) in rows.select(sql, [*params, limit])]


def _weight(words: Sequence[int], customers: Sequence[int]) -> int:
    if customers or not words:
        return COUNTED if customers else 0
    sql = (
        f"SELECT COUNT(*) FROM (SELECT 1 FROM fittings_searchplace WHERE word_id IN {rows.places(len(words))}"
    )
    return rows.select(f"{sql} LIMIT {COUNTED}) n", words)[0][0]


def _lines_of(one: Meant) -> list[Part]:
    """Its lines: those of few at once, each of many words by itself, which has them in order."""
    parts: list[Part] = []
    if one.words:
        together = [one.words] if one.weight < COUNTED else [(word,) for word in one.words]
        sql = "SELECT {}c.line_id FROM fittings_searchplace c WHERE c.word_id {}"
        parts += [
            (
                sql.format("DISTINCT ", f"IN {rows.places(len(words))}")
                if words[1:]
                else sql.format("", "= %s"),
                words,
            )
            for words in together
        ]
    if one.customers:
        parts.append(
            (
                "SELECT c.line_id FROM (SELECT l.id AS line_id FROM fittings_order o"
                f" JOIN fittings_orderline l ON l.order_id = o.id WHERE {_STANDS}"
                f" AND o.customer_id IN {rows.places(len(one.customers))}) c WHERE TRUE",
                one.customers,
            )
        )
    return parts


def _has(one: Meant) -> tuple[str, list]:
    parts, params = [], []
    if one.words:
        parts.append(
            "EXISTS (SELECT 1 FROM fittings_searchplace p WHERE p.line_id = c.line_id"
            f" AND {'+' if len(one.words) > FEW else ''}p.word_id IN {rows.places(len(one.words))})"
        )
        params += one.words
    if one.customers:
        parts.append(
            "EXISTS (SELECT 1 FROM fittings_orderline l JOIN fittings_order o ON o.id = l.order_id"
            f" WHERE l.id = c.line_id AND o.customer_id IN {rows.places(len(one.customers))})"
        )
        params += one.customers
    return f"({' OR '.join(parts)})", params
