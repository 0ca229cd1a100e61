"""A supervisor puts an order or a line of it first; kept with who and when."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("fittings", "0005_scrapped_and_taken_off"),
    ]

    operations = [
        migrations.CreateModel(
            name="Pin",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("made_at", models.DateTimeField()),
                ("made_by", models.CharField(max_length=150)),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                ("ended_by", models.CharField(blank=True, max_length=150)),
                (
                    "line",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="pins",
                        to="fittings.orderline",
                    ),
                ),
                (
                    "order",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE, related_name="pins", to="fittings.order"
                    ),
                ),
            ],
            options={
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("ended_at", None), ("line", None)),
                        fields=("order",),
                        name="pin_of_order_once",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("ended_at", None)), fields=("line",), name="pin_of_line_once"
                    ),
                ],
            },
        ),
    ]
