"""Flat patterns rolled back into space, to check that joints meet and to draw the fitting."""

import numpy as np

from .development import Development, Segment


def roll_up(segment: Segment, points) -> np.ndarray:
    """Points of a flat pattern on the formed segment, in the segment's own frame.

    segment  the Segment
    points   on its pattern, shape (n, 2) [in]
    returns  shape (n, 3) [in]: Z along the axis from end A to end B, X towards the throat; the face of the pattern
             that one sees is outside
    source   lengths on a developable surface are kept: surfaces.py

    >>> from types import SimpleNamespace
    >>> from fittings.geometry.surfaces import Cylinder
    >>> quarter = SimpleNamespace(surface=Cylinder(radius=2.0, start_angle=0.0))
    >>> roll_up(quarter, [[np.pi, 5.0]]).round(6).tolist()
    [[0.0, 2.0, 5.0]]
    """
    return segment.surface.to_space(points)


def frame_at(origin, x_axis, z_axis) -> np.ndarray:
    """The frame of a segment in the fitting's own.

    origin          where the segment's own origin lies, shape (3,) [in]
    x_axis, z_axis  directions of its own X (towards its throat) and Z (its axis), shape (3,); X is made square to Z
    returns         homogeneous matrix, shape (4, 4) [in]
    source          rigid motion, right-handed

    >>> frame_at([1, 2, 3], [1, 0, 0], [0, 0, 1])[:3, 3].tolist()
    [1.0, 2.0, 3.0]
    """
    z = np.asarray(z_axis, float) / np.linalg.norm(z_axis)
    x = np.asarray(x_axis, float) - np.dot(x_axis, z) * z
    x /= np.linalg.norm(x)
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2], matrix[:3, 3] = x, np.cross(z, x), z, origin
    matrix.setflags(write=False)
    return matrix


def placement(dev: Development, position: int) -> np.ndarray:
    """Where a segment sits in the assembled fitting.

    dev       the Development
    position  of the segment, 1 at end A
    returns   homogeneous matrix, shape (4, 4) [in], from the segment's own frame to that of the fitting,
              which is the frame of segment 1
    raises    IndexError for a position that does not exist
    source    rigid motion; the frames are defined by the kind's module

    >>> from types import SimpleNamespace
    >>> placement(SimpleNamespace(segments=[SimpleNamespace(frame=np.eye(4))]), 1)[0].tolist()
    [1.0, 0.0, 0.0, 0.0]
    """
    if not 1 <= position <= len(dev.segments):
        raise IndexError(f"there is no segment {position}; they are numbered 1 to {len(dev.segments)}")
    return dev.segments[position - 1].frame


def placed(dev: Development, position: int, points) -> np.ndarray:
    """Points of a segment's flat pattern in the assembled fitting.

    dev       the Development
    position  of the segment, 1 at end A
    points    on its pattern, shape (n, 2) [in]
    returns   shape (n, 3) [in]
    source    roll_up, then placement

    >>> from types import SimpleNamespace
    >>> from fittings.geometry.surfaces import Cylinder
    >>> one = SimpleNamespace(surface=Cylinder(radius=2.0, start_angle=0.0), frame=np.eye(4))
    >>> placed(SimpleNamespace(segments=[one]), 1, [[0.0, 5.0]]).tolist()
    [[2.0, 0.0, 5.0]]
    """
    matrix = placement(dev, position)
    return roll_up(dev.segments[position - 1], points) @ matrix[:3, :3].T + matrix[:3, 3]


def placed_strips(segment: Segment) -> list[list[np.ndarray]]:
    """A segment's surface strips in the assembled fitting, for drawings in space.

    segment  the Segment
    returns  a list of strips, each two rows of points, shape (n, 3) [in]
    source   rigid motion

    >>> from types import SimpleNamespace
    >>> row = np.array([[1.0, 0, 0]])
    >>> placed_strips(SimpleNamespace(strips=((row, row + 1),), frame=np.eye(4)))[0][1].tolist()
    [[2.0, 1.0, 1.0]]
    """
    turn, shift = segment.frame[:3, :3], segment.frame[:3, 3]
    return [[row @ turn.T + shift for row in strip] for strip in segment.strips]
