"""The board's answer, for the OpenAPI schema."""

from __future__ import annotations

from rest_framework import serializers


class OperationNow(serializers.Serializer):
    operation = serializers.CharField()
    name = serializers.CharField()
    level = serializers.CharField(help_text="What is counted there: segment, fitting.")
    stations = serializers.IntegerField()
    waiting = serializers.IntegerField()
    ready = serializers.IntegerField()
    running = serializers.IntegerField()
    held = serializers.IntegerField()
    done_today = serializers.IntegerField(help_text="In the shop's own day.")
    oldest_ready_minutes = serializers.IntegerField(allow_null=True)
    hours_queued = serializers.FloatField(help_text="Standard hours of what is ready or running.")
    hours_clear = serializers.FloatField(
        help_text="What the active stations do until the end of the working day."
    )
    arrivals_per_hour = serializers.FloatField()
    finishes_per_hour = serializers.FloatField()
    piling_up = serializers.BooleanField()
    why = serializers.CharField(allow_blank=True)


class BottleneckNow(serializers.Serializer):
    operation = serializers.CharField()
    name = serializers.CharField()
    hours_queued = serializers.FloatField()
    hours_clear = serializers.FloatField()
    load = serializers.FloatField(
        allow_null=True, help_text="Queued to clear; null where no station does it."
    )


class SegmentLacking(serializers.Serializer):
    segment = serializers.CharField()
    position = serializers.IntegerField()
    role = serializers.CharField()
    generation = serializers.IntegerField()
    operation = serializers.CharField(help_text="Where it is.")
    state = serializers.CharField()
    since = serializers.DateTimeField(allow_null=True)


class KitShort(serializers.Serializer):
    fitting = serializers.CharField()
    order = serializers.CharField()
    line = serializers.IntegerField()
    tag = serializers.CharField(allow_blank=True)
    kind = serializers.CharField()
    due = serializers.DateField(allow_null=True)
    segments = serializers.IntegerField()
    done = serializers.IntegerField()
    missing = SegmentLacking(many=True)


class OrderAtRisk(serializers.Serializer):
    order = serializers.CharField()
    customer = serializers.CharField()
    due = serializers.DateField()
    days_overdue = serializers.IntegerField()
    hours_of_work = serializers.FloatField()
    hours_left = serializers.FloatField()
    fittings_open = serializers.IntegerField()
    why = serializers.CharField()
    likely_at = serializers.DateTimeField(allow_null=True)
    sure_at = serializers.DateTimeField(allow_null=True)


class StationDown(serializers.Serializer):
    station = serializers.CharField()
    operations = serializers.ListField(child=serializers.CharField())
    since = serializers.DateTimeField()
    until = serializers.DateTimeField(allow_null=True, help_text="null where nobody knows.")
    reason = serializers.CharField(allow_blank=True)


class BoardOut(serializers.Serializer):
    as_of = serializers.DateTimeField()
    version = serializers.IntegerField(help_text="One more with every change of what the board shows.")
    operations = OperationNow(many=True, help_text="In flow order.")
    bottleneck = BottleneckNow(allow_null=True)
    short_kits = KitShort(many=True, help_text="Fittings at assembly, with the segments that they lack.")
    short_kits_more = serializers.IntegerField(help_text="How many more there are than are listed.")
    late_risk = OrderAtRisk(many=True)
    late_risk_more = serializers.IntegerField()
    finished_today = serializers.IntegerField(help_text="Fittings.")
    planned_today = serializers.IntegerField(help_text="Fittings a day that keep the due dates.")
    down = StationDown(many=True)
