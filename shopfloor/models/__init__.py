"""The floor itself: people, stations and their limits, keys, tablets, what is kept of flow and studies."""

from shopfloor.models.attention import NumberGap, NumberSeries, Settlement
from shopfloor.models.costs import CostDue, CostMark, MonthCost, OrderCost
from shopfloor.models.flow import FlowCell, FlowDay, FlowMark
from shopfloor.models.keys import Key, Tablet
from shopfloor.models.people import FirstSteps, Person, PersonChange, SignInMisses
from shopfloor.models.programs import Program, Webhook, WebhookTry
from shopfloor.models.room import FloorLayout, FloorRoom, LayoutPlace
from shopfloor.models.stations import Downtime, EnrolmentCode, Station
from shopfloor.models.studies import Promise, Study

__all__ = (
    "CostDue",
    "CostMark",
    "Downtime",
    "EnrolmentCode",
    "FirstSteps",
    "FloorLayout",
    "FloorRoom",
    "FlowCell",
    "FlowDay",
    "FlowMark",
    "Key",
    "LayoutPlace",
    "MonthCost",
    "NumberGap",
    "NumberSeries",
    "OrderCost",
    "Person",
    "Program",
    "PersonChange",
    "Promise",
    "Settlement",
    "SignInMisses",
    "Station",
    "Study",
    "Tablet",
    "Webhook",
    "WebhookTry",
)
