"""Finished fittings and segments without an order, kept to be used again."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("fittings", "0009_outward_events"),
    ]

    operations = [
        migrations.CreateModel(
            name="KeptPiece",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("facts", models.CharField(max_length=64)),
                ("place", models.CharField(blank=True, max_length=60)),
                (
                    "why",
                    models.CharField(
                        choices=[
                            ("surplus", "Surplus"),
                            ("returned", "Came back"),
                            ("cancelled", "Order or line cancelled"),
                            ("changed", "Order changed"),
                        ],
                        max_length=10,
                    ),
                ),
                ("note", models.CharField(blank=True, max_length=200)),
                ("version", models.PositiveIntegerField(default=1)),
                ("kept_at", models.DateTimeField()),
                ("kept_by", models.CharField(max_length=150)),
                ("used_at", models.DateTimeField(blank=True, null=True)),
                ("used_by", models.CharField(blank=True, max_length=150)),
                ("ended_at", models.DateTimeField(blank=True, null=True)),
                ("ended_by", models.CharField(blank=True, max_length=150)),
                (
                    "ended_why",
                    models.CharField(
                        blank=True, choices=[("scrapped", "Scrapped"), ("lost", "Not found")], max_length=10
                    ),
                ),
                (
                    "fitting",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="kept",
                        to="fittings.fitting",
                    ),
                ),
                (
                    "segment",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="kept",
                        to="fittings.segment",
                    ),
                ),
                (
                    "used_for",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="made_of",
                        to="fittings.fitting",
                    ),
                ),
                (
                    "used_segment",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="made_of",
                        to="fittings.segment",
                    ),
                ),
            ],
            options={
                "indexes": [
                    models.Index(
                        condition=models.Q(("ended_at", None), ("used_at", None)),
                        fields=["facts"],
                        name="kept_by_facts",
                    ),
                    models.Index(fields=["-kept_at", "-id"], name="kept_newest_first"),
                ],
                "constraints": [
                    models.UniqueConstraint(
                        condition=models.Q(("ended_at", None), ("used_at", None), ("segment", None)),
                        fields=("fitting",),
                        name="fitting_kept_once",
                    ),
                    models.UniqueConstraint(
                        condition=models.Q(("ended_at", None), ("used_at", None)),
                        fields=("segment",),
                        name="segment_kept_once",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(("used_at", None), ("ended_at", None), _connector="OR"),
                        name="kept_used_or_ended_not_both",
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("used_at", None), ("used_for", None)),
                            models.Q(("used_at__isnull", False), ("used_for__isnull", False)),
                            _connector="OR",
                        ),
                        name="kept_used_for_a_fitting",
                    ),
                ],
            },
        ),
    ]
