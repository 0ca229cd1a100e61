"""Printed papers: plain data in, PDF bytes out. No Django, no database."""

from .labels import LabelTooSmall, labels_pdf
from .packing_list import packing_list_pdf
from .traveler import travelers_pdf

__all__ = ["LabelTooSmall", "labels_pdf", "packing_list_pdf", "travelers_pdf"]
