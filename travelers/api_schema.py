"""The answers of this package's API about fittings and the record, for its OpenAPI schema."""

from __future__ import annotations

from rest_framework import serializers

from travelers.state import ACTIONS

TASK_STATES = "waiting, ready, running, held, done, void"
PIECE_STATES = "open, done, scrapped, void"


def _date(**words):
    return serializers.DateField(allow_null=True, **words)


def _moment(**words):
    return serializers.DateTimeField(allow_null=True, **words)


class Sits(serializers.Serializer):
    text = serializers.CharField(help_text="In words: 3 gores at roll, 2 waiting at seam.")
    operations = serializers.DictField(child=serializers.IntegerField(), help_text="Pieces by operation.")
    since = _moment()


class FittingShort(serializers.Serializer):
    code = serializers.CharField()
    order = serializers.CharField()
    line = serializers.IntegerField()
    number = serializers.IntegerField(help_text="Which one of its line, from 1.")
    tag = serializers.CharField(allow_blank=True)
    kind = serializers.CharField()
    material = serializers.CharField()
    gauge = serializers.IntegerField()
    state = serializers.CharField(help_text=PIECE_STATES)
    traveler = serializers.CharField(allow_null=True, help_text="The code of the traveler that it goes with.")
    customer = serializers.CharField()
    due = _date()
    where = Sits()


class FittingPage(serializers.Serializer):
    count = serializers.IntegerField()
    next = serializers.CharField(allow_null=True)
    previous = serializers.CharField(allow_null=True)
    results = FittingShort(many=True)


class TaskOut(serializers.Serializer):
    operation = serializers.CharField()
    method = serializers.CharField(allow_blank=True)
    state = serializers.CharField(help_text=TASK_STATES)
    implied = serializers.BooleanField(help_text="Done, as a later scan shows, though nobody scanned it.")
    station = serializers.CharField(allow_null=True)
    badge = serializers.CharField(allow_null=True)
    reason = serializers.CharField(allow_blank=True, help_text="Why it is held.")
    ready_at = _moment()
    started_at = _moment()
    finished_at = _moment()


class SegmentWhole(serializers.Serializer):
    code = serializers.CharField()
    position = serializers.IntegerField(help_text="1 is at end A.")
    role = serializers.CharField()
    generation = serializers.IntegerField(
        help_text="1, and one more each time that it was scrapped and made again."
    )
    state = serializers.CharField(help_text=PIECE_STATES)
    pattern = serializers.CharField(help_text="The same for equal patterns.")
    sheet = serializers.JSONField(allow_null=True, help_text="The sheet of a sent cut plan on which it lies.")
    tasks = TaskOut(many=True)


class FittingWhole(FittingShort):
    dimensions = serializers.DictField(help_text="Of its kind; lengths in inches, angles in degrees.")
    segments = SegmentWhole(many=True)
    tasks = TaskOut(many=True, help_text="Of the fitting, from its assembly on.")


class SegmentPlace(serializers.Serializer):
    code = serializers.CharField()
    position = serializers.IntegerField()
    role = serializers.CharField()
    generation = serializers.IntegerField()
    state = serializers.CharField(help_text=PIECE_STATES)
    asked = serializers.BooleanField(help_text="This is what was asked for.")
    sheet = serializers.JSONField(allow_null=True)
    operation = serializers.CharField(allow_null=True, help_text="Where it sits.")
    task_state = serializers.CharField(help_text=TASK_STATES)
    since = _moment()
    reason = serializers.CharField(allow_blank=True)


class FittingPlace(FittingShort):
    waits_for = serializers.CharField(allow_blank=True)
    segments = SegmentPlace(many=True)


class WhereOut(serializers.Serializer):
    query = serializers.CharField()
    found = serializers.CharField(allow_blank=True, help_text="What it was taken for: Order 1042.")
    sheet = serializers.JSONField(allow_null=True, help_text="Where the code is that of a sheet.")
    more = serializers.BooleanField(help_text="There are more fittings than are listed.")
    results = FittingPlace(many=True)


class ScanRow(serializers.Serializer):
    sequence = serializers.IntegerField(help_text="In the order of commit, without gaps.")
    id = serializers.CharField()
    code = serializers.CharField()
    action = serializers.ChoiceField(ACTIONS)
    count = serializers.IntegerField(allow_null=True)
    badge = serializers.CharField(allow_blank=True)
    reason = serializers.CharField(allow_blank=True)
    undoes = serializers.CharField(allow_blank=True)
    station = serializers.CharField(allow_blank=True)
    operation = serializers.CharField(allow_blank=True)
    scanned_at = _moment(help_text="By the tablet's clock; null where that could not be read.")
    received_at = serializers.DateTimeField(help_text="By the server's.")
    is_time_doubtful = serializers.BooleanField(
        help_text="More than 2 minutes ahead of, or 30 days behind, when it was received: kept, not used."
    )
    outcome = serializers.CharField(help_text="recorded, refused")
    reason_code = serializers.CharField(allow_blank=True)
    message = serializers.CharField()
    changed = serializers.IntegerField(help_text="Tasks changed.")
    number = serializers.IntegerField(allow_null=True, help_text="The tablet's own running number.")


class RecordPage(serializers.Serializer):
    count = serializers.IntegerField(help_text="How many there are after `since`.")
    next = serializers.CharField(allow_null=True)
    previous = serializers.CharField(allow_null=True)
    results = ScanRow(many=True)
