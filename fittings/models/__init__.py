"""What is made: customers, orders, lines, fittings, segments, versioned tables, stock, kept pieces and cut plans."""

from fittings.models.answers import KeptAnswer
from fittings.models.customers import Customer, CustomerChange, FormerName
from fittings.models.cut_plans import CutPiece, CutPlan, CutSheet
from fittings.models.entry import Favourite, TypedOrder
from fittings.models.events import EventSeries, OutwardEvent
from fittings.models.intake import ColumnMatch, IntakeFile
from fittings.models.kept import KeptPiece
from fittings.models.orders import Order, OrderChange, OrderLine, Pin
from fittings.models.pieces import Fitting, PieceState, Segment
from fittings.models.search import SearchPlace, SearchWord
from fittings.models.stock import StockItem
from fittings.models.tables import CodeSeries, TableVersion

__all__ = (
    "CodeSeries",
    "ColumnMatch",
    "Customer",
    "CustomerChange",
    "CutPiece",
    "CutPlan",
    "CutSheet",
    "EventSeries",
    "Favourite",
    "Fitting",
    "FormerName",
    "IntakeFile",
    "KeptAnswer",
    "KeptPiece",
    "Order",
    "OrderChange",
    "OrderLine",
    "PieceState",
    "OutwardEvent",
    "Pin",
    "SearchPlace",
    "SearchWord",
    "Segment",
    "StockItem",
    "TableVersion",
    "TypedOrder",
)
