"""What a test sees of a PDF: its words, its pixels, its codes. Independent readers only."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pypdfium2
import zxingcpp

DPI = 150
PT = DPI / 72


@lru_cache(maxsize=16)
def pages(data: bytes) -> list:
    """A greyscale array of each page at DPI."""
    document = pypdfium2.PdfDocument(data)
    return [np.asarray(page.render(scale=PT, grayscale=True).to_pil()) for page in document]


@lru_cache(maxsize=16)
def words(data: bytes) -> list[str]:
    """The text of each page, its white space made single."""
    document = pypdfium2.PdfDocument(data)
    return [" ".join(page.get_textpage().get_text_range().split()) for page in document]


def codes(image) -> list:
    return [found for found in zxingcpp.read_barcodes(image) if found.format == zxingcpp.BarcodeFormat.QRCode]


def corners(found) -> tuple[float, float, float, float]:
    """Left, top, right, bottom of a decoded symbol [pixels]."""
    position = found.position
    points = (position.top_left, position.top_right, position.bottom_left, position.bottom_right)
    xs, ys = [point.x for point in points], [point.y for point in points]
    return (min(xs), min(ys), max(xs), max(ys))


def darkest_round(image, found, modules: float) -> int:
    """The darkest pixel in the frame round a symbol, from just outside it to so many modules out."""
    left, top, right, bottom = corners(found)
    module = (right - left) / 21
    slack = 0.6 * module  # the decoder's corners are on module centres or edges
    out = modules * module
    height, width = image.shape
    rows = slice(max(0, int(top - out)), min(height, int(bottom + out)))
    columns = slice(max(0, int(left - out)), min(width, int(right + out)))
    frame = image[rows, columns].copy()
    inner_top, inner_left = int(top - slack) - rows.start, int(left - slack) - columns.start
    inner_bottom, inner_right = int(bottom + slack) - rows.start, int(right + slack) - columns.start
    frame[inner_top : inner_bottom + 1, inner_left : inner_right + 1] = 255
    return int(frame.min())


def dark_beyond(image, left: float, top: float, right: float, bottom: float) -> bool:
    """Whether anything dark stands outside the box [pt from the top left corner]."""
    masked = image.copy()
    masked[int(top * PT) : int(bottom * PT) + 1, int(left * PT) : int(right * PT) + 1] = 255
    return bool((masked < 128).any())
