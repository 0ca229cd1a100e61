"""The surfaces of a branch on a main as implicit functions, and their joint by bisection.

The main's axis is Z; the branch's axis passes it at z = at, sideways at Y = offset, on the +X side, leaning towards +Z.
Nothing here comes from the code under test.
"""

import math

import numpy as np


def bisected(function, low, high):
    """Where an increasing function crosses zero between two arrays of bounds."""
    for _ in range(50):
        middle = (low + high) / 2
        above = function(middle) > 0
        low, high = np.where(above, low, middle), np.where(above, middle, high)
    return (low + high) / 2


class BranchTruth:
    def __init__(self, *, main_radius, branch_radius, angle_deg, offset=0.0, at=0.0):
        self.main_radius, self.branch_radius, self.at = main_radius, branch_radius, at
        angle = math.radians(angle_deg)
        self.axis = np.array([math.sin(angle), 0.0, math.cos(angle)])
        self.crotch = np.array([-math.cos(angle), 0.0, math.sin(angle)])
        self.start = np.array([0.0, offset, at])

    def off_main(self, points):
        """Distance outside the main's surface."""
        return np.hypot(points[..., 0], points[..., 1]) - self.main_radius

    def off_branch(self, points):
        """Distance outside the branch's surface."""
        from_start = points - self.start
        along = from_start @ self.axis
        return np.linalg.norm(from_start - along[..., None] * self.axis, axis=-1) - self.branch_radius

    def on_branch(self, t, along):
        """Points of the branch at angles from the crotch and distances along its axis."""
        aside = np.cross(self.axis, self.crotch)
        across = np.cos(t)[:, None] * self.crotch + np.sin(t)[:, None] * aside
        return self.start + self.branch_radius * across + np.asarray(along)[:, None] * self.axis

    def along_branch(self, t):
        """Where each element of the branch leaves the main, along its axis: the outermost crossing, by bisection."""
        at_least = self._deepest(t)
        return bisected(
            lambda along: self.off_main(self.on_branch(t, along)), at_least, at_least + 50 * self.main_radius
        )

    def _deepest(self, t):
        """Along each element, where it is nearest to the main's axis."""
        foot, way = self.on_branch(t, np.zeros(len(t)))[:, :2], self.axis[:2]
        return -(foot @ way) / (way @ way)

    def hole_area(self, steps=4000):
        """Area on the main inside the branch, by strips along the axis."""
        low, high = (
            math.asin(np.clip((self.start[1] + k * self.branch_radius) / self.main_radius, -1, 1))
            for k in (-1, 1)
        )
        # midpoints crowded towards both ends, where the strips grow like a root
        u = (np.arange(steps) + 0.5) / steps * math.pi
        phi = (low + high) / 2 - (high - low) / 2 * np.cos(u)
        width = (high - low) / 2 * np.sin(u) * math.pi / steps * self.main_radius

        def points(z):
            return np.column_stack([self.main_radius * np.cos(phi), self.main_radius * np.sin(phi), z])

        # the element of the main is nearest to the branch's axis where its foot on it is square to both
        middle = self.at + np.cos(phi) * self.main_radius * self.axis[2] / max(self.axis[0], 1e-12)
        reach = 2 * self.branch_radius / self.axis[0]
        last = bisected(lambda z: self.off_branch(points(z)), middle, middle + reach)
        first = -bisected(lambda z: self.off_branch(points(-z)), -middle, -middle + reach)
        return float(np.sum((last - first) * width))
