"""The requests and answers of files of orders, for the OpenAPI schema. What is allowed is checked elsewhere."""

from __future__ import annotations

from rest_framework import serializers


class ImportIn(serializers.Serializer):
    """What the file does not say may stand beside it; what it says goes first."""

    file = serializers.FileField(
        help_text="CSV or XLSX, at most 5 MiB, unpacked 50 MiB, 5,000 rows, 60 columns."
    )
    number = serializers.CharField(required=False, help_text="Where the file is one order.")
    customer = serializers.CharField(required=False)
    purchase_order = serializers.CharField(required=False)
    due = serializers.CharField(required=False, help_text="2026-12-17, or 17 Dec 2026.")
    priority = serializers.CharField(required=False, help_text="1 to 9.")
    notes = serializers.CharField(required=False)
    kind = serializers.CharField(
        required=False, help_text="Of lines where the file says nothing; so the four below."
    )
    material = serializers.CharField(required=False)
    gauge = serializers.CharField(required=False)
    end_a = serializers.CharField(required=False)
    end_b = serializers.CharField(required=False)
    unit = serializers.ChoiceField(
        choices=["in", "mm"],
        required=False,
        help_text="What a bare number means where its head names no unit; in.",
    )
    columns = serializers.CharField(
        required=False,
        help_text='What heads mean, as JSON: {"Dim 1": "params.diameter", "Remarks": null}; null leaves one out.',
    )
    again = serializers.BooleanField(required=False, help_text="true: although the same is in already.")
    check = serializers.BooleanField(required=False, help_text="true: look only, make nothing (200).")


class ImportedOrder(serializers.Serializer):
    number = serializers.CharField(
        allow_null=True, help_text="null in a look only, where it gets the next free one."
    )
    customer = serializers.CharField()
    purchase_order = serializers.CharField(allow_blank=True)
    due = serializers.DateField(allow_null=True)
    lines = serializers.IntegerField()
    pieces = serializers.IntegerField()


class ImportOut(serializers.Serializer):
    orders = ImportedOrder(many=True)
    lines = serializers.IntegerField()
    pieces = serializers.IntegerField()
    notes = serializers.ListField(
        child=serializers.CharField(), help_text="What was passed over, in sentences."
    )


class ImportColumn(serializers.Serializer):
    name = serializers.CharField(help_text="Its field in an order, as `params.diameter`.")
    head = serializers.CharField()
    heads = serializers.ListField(child=serializers.CharField(), help_text="Other heads that are understood.")
    reads = serializers.CharField(help_text="How its cells are read: length, whole, text …")
    choices = serializers.ListField(child=serializers.CharField())
    help = serializers.CharField(allow_blank=True)
    kinds = serializers.ListField(child=serializers.CharField())


class ImportLimits(serializers.Serializer):
    bytes = serializers.IntegerField()
    bytes_unpacked = serializers.IntegerField()
    rows = serializers.IntegerField()
    columns = serializers.IntegerField()
    characters = serializers.IntegerField()
    seconds = serializers.IntegerField()


class ColumnsOut(serializers.Serializer):
    columns = ImportColumn(many=True)
    limits = ImportLimits()
