"""What a program's key may do: scopes by subject, to read or to write. Which address needs which, in one table.

An address that no row names is closed to programs: one that is added must get its row first.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from shared.problems import NotAllowed
from shared.roles import SUPERVISOR, Actor

API = "/api/v1/"
READ, WRITE = "read", "write"
SAFE = ("GET", "HEAD", "OPTIONS")
OPEN = ""
"""Of addresses that need no scope."""


@dataclass(frozen=True)
class Rule:
    """Addresses below /api/v1/ that begin so, and the subject of their scopes.

    role  as what a program acts there, where the office may not
    """

    begins: str
    subject: str
    role: str = ""


RULES = tuple(
    Rule(*one)
    for one in (
        ("health/", OPEN),
        ("develop/|kinds/|nest/", OPEN),  # they store nothing and tell nothing of the shop
        (r"orders/[^/]+/(costs|quotes?|quote\.pdf|prices?)\b|costs/|prices/|quotes/", "costs"),
        (r"orders/[^/]+/(pin|unpin)/|floor-plan/", "floor", SUPERVISOR),
        ("measured-times/adopt/", "tables"),
        ("orders/|papers/|deliveries/|favourites/", "orders"),
        ("customers/", "customers"),
        ("tables/|letterhead/", "tables"),
        ("stock/|kept/", "stock"),
        ("cut-work/|cut-plans/|cut-sheets/", "cutting"),
        ("fittings/|where/|board/|find/|flow/|measured-times/|what-if/", "floor"),
        ("scans/", "scans", SUPERVISOR),
        ("exceptions/|tablets/|downtimes/", "supervision", SUPERVISOR),
        ("operators/|stations/", "operators", SUPERVISOR),
        ("events/", "events"),
        ("webhooks/", "webhooks"),
    )
)
SCOPES = {
    "orders:read": "Orders, their changes and papers",
    "orders:write": "Make, import, change, release and cancel orders",
    "costs:read": "Costs, prices and quotes",
    "costs:write": "Make and settle quotes",
    "customers:read": "Customers",
    "customers:write": "Add and change customers",
    "cutting:read": "Cut plans and their sheets",
    "cutting:write": "Make, send and drop cut plans",
    "stock:read": "Metal and kept pieces on hand",
    "stock:write": "Change what is on hand",
    "floor:read": "Where each piece is, the board, flow, times and plan of the floor",
    "floor:write": "Put an order first, ask what if, change the floor plan",
    "scans:read": "The scan record",
    "scans:write": "Scan for a station that is named",
    "supervision:read": "What needs eyes, the tablets, stations that are down",
    "supervision:write": "Settle what needs eyes, revoke a tablet, tell of a station that is down",
    "operators:read": "Operators and their badges",
    "operators:write": "Add and change operators",
    "tables:read": "The shop's tables",
    "tables:write": "Change the shop's tables",
    "events:read": "The feed of events",
    "webhooks:read": "Webhooks and what they were sent",
    "webhooks:write": "Add and change webhooks",
}


def rule_of(path: str) -> Rule | None:
    """The rule of an address, the first that fits; None where programs may not go."""
    if not path.startswith(API):
        return None
    rest = path.removeprefix(API)
    return next((rule for rule in RULES if re.match(rule.begins, rest)), None)


def scope_of(method: str, path: str) -> str | None:
    """The scope that a program needs there; empty where it needs none, None where it may not go."""
    rule = rule_of(path)
    if rule is None:
        return None
    return f"{rule.subject}:{READ if method in SAFE else WRITE}" if rule.subject else OPEN


def actor_at(actor: Actor, method: str, path: str) -> Actor | None:
    """The program as it acts at an address; nobody on a page.

    raises  NotAllowed naming the scope that is missing
    """
    if not path.startswith("/api/"):
        return None
    if not path.startswith(API):
        return actor
    scope = scope_of(method, path)
    if scope is None:
        raise NotAllowed("A program's key does not open this address. A person's key does.")
    if scope and scope not in actor.scopes:
        raise NotAllowed(f"The key of {actor.name} lacks the scope {scope}.")
    role = rule_of(path).role
    return replace(actor, role=role) if role else actor
