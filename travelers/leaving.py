"""What becomes of the pieces of a fitting that a change takes out of its order. Pure."""

from __future__ import annotations

from collections.abc import Mapping

KEEP = "keep"
DONE, SCRAPPED, VOID = "done", "scrapped", "void"


def segments_left(
    taken_out_as: str, segments: Mapping[int, str], begun: Mapping[int | None, str], *, is_done: bool
) -> dict[int, str]:
    """The state of each segment: what is begun is scrap or is kept, the rest is void.

    taken_out_as  scrap or keep
    segments      their states by the scans up to the change
    begun         `done` where an operation of a segment (None: of the whole fitting) is finished, `running` where the
                  first is only started
    is_done       the fitting is finished: kept whole as it is, or scrapped whole

    Kept are segments of which an operation is finished; once they are being put together only the finished fitting
    can be kept, and the rest is scrap.

    >>> segments_left("keep", {1: "open", 2: "open", 3: "open"}, {1: "done", 2: "running"}, is_done=False)
    {1: 'void', 2: 'scrapped', 3: 'void'}
    """
    if is_done and taken_out_as == KEEP:
        return dict(segments)
    is_joined = is_done or None in begun
    left = {}
    for id_, now in segments.items():
        if now in (SCRAPPED, VOID):
            left[id_] = now
        elif is_joined:
            left[id_] = SCRAPPED
        elif begun.get(id_) == DONE and taken_out_as == KEEP:
            left[id_] = VOID
        else:
            left[id_] = SCRAPPED if id_ in begun else VOID
    return left


def fitting_left(taken_out_as: str, segments: Mapping[int, str], begun: Mapping[int | None, str]) -> str:
    """The state of a fitting that is not kept whole: scrapped where nothing good of it is left to keep.

    segments  as `segments_left` has them

    >>> fitting_left("keep", {1: "void", 2: "scrapped"}, {1: "done"}), fitting_left("scrap", {1: "scrapped"}, {})
    ('void', 'scrapped')
    """
    is_kept = taken_out_as == KEEP and any(
        now == VOID and begun.get(id_) == DONE for id_, now in segments.items()
    )
    return SCRAPPED if SCRAPPED in segments.values() and not is_kept else VOID
