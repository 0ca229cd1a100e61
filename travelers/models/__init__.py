"""How it is made and how far it is: operations, tasks, travelers, operators, and the append-only scan record."""

from travelers.models.floor import Operation, Operator, Traveler
from travelers.models.papers import DeliveredFitting, Delivery, Letterhead, PrintPart, PrintRun
from travelers.models.prices import LinePrice, Quote
from travelers.models.record import Pulse, Scan, ScanMismatch, ScanTarget
from travelers.models.tasks import (
    IS_DONE_HERE,
    IS_OPEN,
    IS_OPEN_HERE,
    OPEN_STATES,
    Task,
    TaskQuerySet,
    TaskState,
)

__all__ = (
    "IS_DONE_HERE",
    "IS_OPEN",
    "IS_OPEN_HERE",
    "OPEN_STATES",
    "LinePrice",
    "DeliveredFitting",
    "Delivery",
    "Letterhead",
    "Operation",
    "Operator",
    "PrintPart",
    "PrintRun",
    "Pulse",
    "Quote",
    "Scan",
    "ScanMismatch",
    "ScanTarget",
    "Task",
    "TaskQuerySet",
    "TaskState",
    "Traveler",
)
