"""The OpenAPI text of changes of a released order."""

from __future__ import annotations

from rest_framework import serializers

from fittings.models import OrderLine
from travelers.kept_api import KeptOfferOut

STARTED = ("keep", "scrap", "go_on")
KINDS = ("add", "cancel", "replace", "count", "wording", "same")


class ChangeLineIn(serializers.Serializer):
    line = serializers.IntegerField(
        required=False, allow_null=True, help_text="Its number in the order; left out: a line that is added."
    )
    cancel = serializers.BooleanField(required=False, default=False)
    started = serializers.ChoiceField(
        STARTED, required=False, help_text="What becomes of started work that would go; `keep` if left out."
    )
    quantity = serializers.IntegerField(required=False, min_value=1)
    kind = serializers.CharField(required=False)
    material = serializers.CharField(required=False)
    gauge = serializers.IntegerField(required=False)
    params = serializers.DictField(
        required=False, help_text="All parameters of the fitting, where it changes."
    )
    end_a = serializers.CharField(required=False)
    end_b = serializers.CharField(required=False)
    end_c = serializers.CharField(required=False, allow_blank=True)
    joins_a = serializers.CharField(required=False, allow_blank=True)
    joins_b = serializers.CharField(required=False, allow_blank=True)
    joins_c = serializers.CharField(required=False, allow_blank=True)
    pressure_class = serializers.FloatField(required=False, allow_null=True)
    allowances = serializers.DictField(required=False, allow_null=True)
    tag = serializers.CharField(required=False, allow_blank=True)
    traveler_per = serializers.ChoiceField(OrderLine.TravelerPer.choices, required=False)


class ChangeIn(serializers.Serializer):
    version = serializers.IntegerField(min_value=1, help_text="The order's version that was seen.")
    unit = serializers.ChoiceField(("in", "mm"), required=False, default="in")
    lines = ChangeLineIn(many=True, help_text="1 to 500 lines; those that are not named stay as they are.")
    note = serializers.CharField(required=False, allow_blank=True, max_length=200, help_text="Why.")
    dry_run = serializers.BooleanField(required=False, default=False)
    seen = serializers.CharField(
        required=False, allow_blank=True, help_text="The mark of what was shown: made only if it still holds."
    )
    use_kept = serializers.ListField(
        child=serializers.IntegerField(),
        required=False,
        help_text="Ids of kept pieces that become fittings or segments of what is made; `kept_offers` names them.",
    )


class ChangeStep(serializers.Serializer):
    operation = serializers.CharField()
    done = serializers.IntegerField()
    running = serializers.IntegerField()
    of = serializers.ChoiceField(("segment", "fitting"))


class ChangeMetal(serializers.Serializer):
    pieces = serializers.IntegerField()
    area_in2 = serializers.FloatField(help_text="Of the cut outlines.")
    weight_lb = serializers.FloatField()
    cost = serializers.CharField(allow_null=True, help_text="In the shop's currency; null where not known.")


class ChangeLineOut(serializers.Serializer):
    line = serializers.IntegerField(allow_null=True)
    what = serializers.ChoiceField(KINDS)
    before = serializers.CharField(allow_blank=True)
    after = serializers.CharField(allow_blank=True)
    made = serializers.IntegerField(help_text="New fittings.")
    stays = serializers.IntegerField(help_text="Fittings that stay in the order as they are.")
    over = serializers.IntegerField(help_text="Of those that stay, how many are beyond what is ordered.")
    void = serializers.IntegerField(help_text="Fittings that go and were not started.")
    begun = serializers.IntegerField(help_text="Started fittings that are not wanted any more.")
    finished = serializers.IntegerField(help_text="Of these, how many are finished.")
    started = serializers.CharField(
        allow_blank=True, help_text="What becomes of them; blank where there are none."
    )
    so_far = ChangeStep(many=True, help_text="How far the line is.")
    going = ChangeStep(many=True, help_text="How far those are that are not wanted any more.")
    scrap = ChangeMetal(help_text="Segments that become scrap.")
    kept = ChangeMetal(help_text="Segments that are kept, those in finished fittings too.")
    kept_fittings = serializers.IntegerField()
    scrapped_fittings = serializers.IntegerField()
    hours = serializers.FloatField(help_text="Standard hours of work in what becomes scrap or is kept.")
    sheets = serializers.ListField(
        child=serializers.CharField(), help_text="Where pieces come off, in words."
    )
    travelers = serializers.ListField(child=serializers.CharField(), help_text="Travelers that become void.")


class ChangeOut(serializers.Serializer):
    order = serializers.DictField(help_text="As `GET /orders/{number}/` answers it.")
    is_made = serializers.BooleanField()
    seen = serializers.CharField(help_text="The mark of what is shown.")
    fittings = serializers.IntegerField(help_text="Fittings of the order after the change.")
    lines = ChangeLineOut(many=True)
    kept_offers = KeptOfferOut(
        many=True, help_text="Kept pieces that fit what is made; empty once it is made."
    )


class ChangedField(serializers.Serializer):
    what = serializers.CharField()
    before = serializers.CharField(allow_blank=True)
    after = serializers.CharField(allow_blank=True)


class OrderVersion(serializers.Serializer):
    version = serializers.IntegerField()
    made_at = serializers.DateTimeField()
    made_by = serializers.CharField()
    changes = ChangedField(many=True)


class ChangesOut(serializers.Serializer):
    count = serializers.IntegerField()
    next = serializers.CharField(allow_null=True)
    previous = serializers.CharField(allow_null=True)
    results = OrderVersion(many=True)
