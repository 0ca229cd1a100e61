"""Printed papers: plain data in, PDF bytes out. No Django, no database."""

from .badges import badges_pdf
from .confirmation import Confirmation, ConfirmedLine, confirmation_pdf
from .cut_plan import cut_plan_pdf
from .cut_sheet import cut_sheet_pdf
from .delivery_note import DeliveredLine, DeliveryNote, delivery_note_pdf
from .labels import LabelTooSmall, labels_pdf
from .letterhead import letterhead_pdf
from .packing_list import packing_list_pdf
from .quote import quote_pdf
from .traveler import travelers_pdf

__all__ = [
    "Confirmation",
    "ConfirmedLine",
    "DeliveredLine",
    "DeliveryNote",
    "LabelTooSmall",
    "badges_pdf",
    "confirmation_pdf",
    "cut_plan_pdf",
    "cut_sheet_pdf",
    "delivery_note_pdf",
    "labels_pdf",
    "letterhead_pdf",
    "packing_list_pdf",
    "quote_pdf",
    "travelers_pdf",
]
