"""Scrapped segments and pieces taken off their sheets are few and asked for by the figures."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("fittings", "0004_stock_and_cut_plans"),
    ]

    operations = [
        migrations.AddIndex(
            model_name="cutpiece",
            index=models.Index(
                condition=models.Q(("off_at__isnull", False)), fields=["sheet"], name="piece_off_by_sheet"
            ),
        ),
        migrations.AddIndex(
            model_name="segment",
            index=models.Index(
                condition=models.Q(("state", "scrapped")), fields=["fitting"], name="segment_scrapped"
            ),
        ),
    ]
