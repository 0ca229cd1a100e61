"""The shop's letterhead: what stands above every paper. Name, address and telephone are rows of the shop table."""

from __future__ import annotations

import warnings
from datetime import datetime
from io import BytesIO

from django.db import transaction
from PIL import Image, ImageOps

from fittings import tables
from shared.problems import FieldError, TooLarge, WrongInput
from shared.roles import Actor
from shared.turn import write_turn
from travelers.documents.data import Shop
from travelers.models import Letterhead

MOST_BYTES = 1024 * 1024
MOST_SIDE = 6000  # px of a picture that is taken
LEAST_SIDE = 16
KEPT_SIDE = 1200  # px of the picture that is kept: 8 times what a letter shows at 300 dpi is of no use
FORMATS = ("PNG", "JPEG")


def shop_head() -> Shop:
    """The letterhead as the papers take it. Two queries."""
    values = {row["key"]: str(row["value"] or "") for row in tables.rows("shop")}
    lines = [part.strip() for part in values.get("address", "").split(";") if part.strip()]
    logo = Letterhead.objects.values_list("logo", flat=True).first()
    return Shop(values.get("name", ""), ", ".join(lines), values.get("phone", ""), bytes(logo or b""))


def letterhead_now() -> Letterhead | None:
    return Letterhead.objects.first()


def logo_keep(*, content: bytes, actor: Actor, now: datetime) -> Letterhead:
    """Take a picture as the shop's logo, in the place of the one before.

    raises  TooLarge; WrongInput where it is no PNG or JPEG, cannot be read, or is too large or too small
    """
    made, (width, height) = _logo_read(content)
    values = {"logo": made, "width": width, "height": height, "changed_at": now, "changed_by": actor.name}
    with write_turn(), transaction.atomic():
        row, _ = Letterhead.objects.update_or_create(pk=1, defaults=values)
    return row


def logo_remove(*, actor: Actor, now: datetime) -> None:
    """Papers begin with the shop's name alone. Where there is no logo, nothing happens."""
    with write_turn(), transaction.atomic():
        Letterhead.objects.all().delete()


def _logo_read(content: bytes) -> tuple[bytes, tuple[int, int]]:
    """A picture as a plain PNG, turned as it was taken, at most KEPT_SIDE wide and high."""
    if len(content) > MOST_BYTES:
        raise TooLarge(f"The logo has {len(content):,} bytes; at most {MOST_BYTES:,} (1 MiB) are taken.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            picture = Image.open(BytesIO(content), formats=FORMATS)
        size = picture.size
        if max(size) > MOST_SIDE or min(size) < LEAST_SIDE:
            _refuse(
                f"{size[0]} × {size[1]} px",
                f"{LEAST_SIDE} to {MOST_SIDE} px a side",
                f"The logo is {size[0]} × {size[1]} px; each side can be {LEAST_SIDE} to {MOST_SIDE} px.",
            )
        picture = ImageOps.exif_transpose(picture)
        has_clear = picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info
        picture = picture.convert("RGBA" if has_clear else "RGB")
        picture.thumbnail((KEPT_SIDE, KEPT_SIDE))
        stream = BytesIO()
        picture.save(stream, "PNG", optimize=True)
    except (OSError, SyntaxError, ValueError, Image.DecompressionBombError, Image.DecompressionBombWarning):
        _refuse("", "a PNG or JPEG picture", "The file is no PNG or JPEG picture that can be read.")
    return stream.getvalue(), picture.size


def _refuse(value: str, limit: str, message: str) -> None:
    raise WrongInput([FieldError("logo", value, limit, message)]) from None
