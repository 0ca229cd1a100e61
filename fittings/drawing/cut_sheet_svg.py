"""The picture of a sheet as SVG: classes and presentation attributes only, as in `svg`."""

from __future__ import annotations

from collections.abc import Iterable
from xml.sax.saxutils import escape, quoteattr

from fittings.drawing.cut_sheet_picture import DrawnPiece, SheetPicture, TurnedText
from fittings.drawing.scene import ASCENT, FILLED, Path, Point, Text
from fittings.drawing.svg import ATTRIBUTES, CLASSES, DRAWN_AS_GROUP, clean, number

THIN = ' vector-effect="non-scaling-stroke"'
GREY = ' fill="currentColor" fill-opacity="0.12"'  # what is left white is waste


def picture_svg(picture: SheetPicture) -> str:
    """SVG text: `viewBox`, `role="img"`, title and description; a group a piece, with its own title and data."""
    title, high = clean(picture.title), picture.height
    icon = " icon" if picture.is_small else ""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" class="{DRAWN_AS_GROUP} sheet-drawing{icon}" role="img" '
        f'viewBox="0 0 {number(picture.width)} {number(high)}" aria-label={quoteattr(title)}>'
        f"<title>{escape(title)}</title><desc>{escape(clean(picture.words))}</desc>"
        '<g fill="none" stroke="currentColor" stroke-linejoin="round" stroke-linecap="round">'
    ]
    by_role: dict[str, list[Path]] = {}
    for item in picture.items:
        if isinstance(item, Path):
            by_role.setdefault(item.role, []).append(item)
    parts += [
        _path(role, (_data(p.points, high, p.closed) for p in paths)) for role, paths in by_role.items()
    ]
    parts += _small(picture) if picture.is_small else [_piece(piece, high) for piece in picture.pieces]
    parts.append("</g>")
    texts = [_text(item, high) for item in picture.items if not isinstance(item, Path)]
    texts += [_turned(piece.text, high) for piece in picture.pieces if piece.text]
    if texts:
        parts.append('<g fill="currentColor" stroke="none" font-family="\'B612 Mono\', monospace">')
        parts += [*texts, "</g>"]
    parts.append("</svg>")
    return "".join(parts)


def _small(picture: SheetPicture) -> list[str]:
    """All outlines in as few paths as there are looks."""
    high, looks = picture.height, {}
    for piece in picture.pieces:
        role = "hidden" if piece.is_done or piece.is_off else "joint"
        looks.setdefault(role, []).append(_data(piece.outline, high))
        if piece.is_meant:
            looks.setdefault("picked", []).append(_data(piece.outline, high))
    return [_path(role, data, GREY if role == "joint" else "") for role, data in looks.items()]


def _piece(piece: DrawnPiece, high: float) -> str:
    state = " is-off" if piece.is_off else " is-done" if piece.is_done else ""
    role = (
        "hidden" if state else "joint"
    )  # thinner than a pattern alone: the next piece is an eighth of an inch away
    parts = [
        f'<g class="piece{state}" data-code={quoteattr(piece.code)} data-feed="{piece.feed}">'
        f"<title>{escape(clean(piece.title))}</title>"
    ]
    if piece.is_meant:
        parts.append(_path("picked", [_data(piece.outline, high)]))
    parts.append(_path(role, [_data(outline, high) for outline in (piece.outline, *piece.holes)]))
    for mark_role in ("mark", "fold"):
        data = [_data(mark.points, high, False) for mark in piece.marks if mark.role == mark_role]
        if data:
            parts.append(_path(mark_role, data))
    if piece.sign:
        parts.append(_path("outline", [_data(line, high, False) for line in piece.sign]))
    parts.append("</g>")
    return "".join(parts)


def _path(role: str, data: Iterable[str], more: str = "") -> str:
    effect = "" if role in FILLED else THIN
    return f'<path class="{CLASSES[role]}" {ATTRIBUTES[role]}{effect}{more} d="{"".join(data)}"/>'


def _data(points: Iterable[Point], high: float, closed: bool = True) -> str:
    """A tenth of a unit is finer than a screen shows."""
    text = " ".join([f"{x:.1f} {high - y:.1f}" for x, y in points]).replace(".0 ", " ").removesuffix(".0")
    return f"M{text}{'Z' if closed else ''}"


def _text(item: Text | TurnedText, high: float) -> str:
    if isinstance(item, TurnedText):
        return _turned(item, high)
    return (
        f'<text class="{CLASSES[item.role]}" x="{number(item.x)}" y="{number(high - item.y)}" '
        f'font-size="{number(item.size)}" text-anchor="{item.anchor}">{escape(clean(item.text))}</text>'
    )


def _turned(item: TurnedText, high: float) -> str:
    """The line's middle is where it is said to be: half the height of a capital above the base line."""
    x, y, drop = number(item.x), number(high - item.y), number(high - item.y + ASCENT * item.size / 2)
    turn = f' transform="rotate({number(-item.angle)} {x} {y})"' if abs(item.angle) > 1e-6 else ""
    words = clean(item.text)
    strong = clean(item.strong)
    if strong and words.startswith(strong):
        words = f'<tspan font-weight="700">{escape(strong)}</tspan>{escape(words[len(strong) :])}'
    else:
        words = escape(words)
    return (
        f'<text class="label"{turn} x="{x}" y="{drop}" font-size="{number(item.size)}" '
        f'text-anchor="middle">{words}</text>'
    )


__all__ = ["picture_svg"]
