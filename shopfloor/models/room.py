"""The room of the floor plan and its layouts."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class FloorRoom(models.Model):
    """The one room of the floor plan, and how work is carried in it. Lengths in feet.

    carried  pieces that one person carries at once; None: all of a line that go the same way on a day
    walk     feet a minute
    """

    id = models.PositiveSmallIntegerField(primary_key=True, default=1)
    width_ft = models.FloatField()
    depth_ft = models.FloatField()
    carried = models.PositiveSmallIntegerField(null=True)
    walk_ft_per_min = models.FloatField()

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(id=1), name="floor_room_is_one_row")]

    def __str__(self) -> str:
        return f"{self.width_ft} × {self.depth_ft} ft"


class FloorLayout(models.Model):
    """Where everything stands in the room: as it stands, or a try. `edition` counts its changes."""

    name = models.CharField(max_length=60)
    is_standing = models.BooleanField(default=False)
    edition = models.PositiveIntegerField(default=1)
    changed_by = models.CharField(max_length=150)
    changed_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["is_standing"], condition=Q(is_standing=True), name="one_layout_stands"
            ),
            models.UniqueConstraint(fields=["name"], name="layout_name_once"),
        ]

    def __str__(self) -> str:
        return self.name


class LayoutPlace(models.Model):
    """A station or an area of a layout: its left and upper edge from the walls, its size before it is turned [ft].

    code  a station's, or an area's name
    """

    class Kind(models.TextChoices):
        STATION = "station", "Station"
        RACK = "rack", "Stock rack"
        WRAPPING = "wrapping", "Wrapping"
        DOOR = "door", "Door"
        AREA = "area", "Other area"

    layout = models.ForeignKey(FloorLayout, on_delete=models.CASCADE, related_name="places")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    code = models.CharField(max_length=20)
    x_ft = models.FloatField()
    y_ft = models.FloatField()
    width_ft = models.FloatField()
    depth_ft = models.FloatField()
    is_turned = models.BooleanField(default=False)
    is_fixed = models.BooleanField(default=False)
    clearance_ft = models.FloatField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["layout", "code"], name="layout_place_once"),
            models.UniqueConstraint(
                fields=["layout", "kind"],
                condition=Q(kind__in=["rack", "wrapping", "door"]),
                name="layout_one_rack_wrapping_door",
            ),
        ]

    def __str__(self) -> str:
        return self.code
