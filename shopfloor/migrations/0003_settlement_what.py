"""A note keeps how the thing that it settles was listed."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shopfloor", "0002_tablets_seen_gaps_settled")]

    operations = [
        migrations.AddField(
            model_name="settlement",
            name="what",
            field=models.CharField(default="", max_length=200),
            preserve_default=False,
        ),
        migrations.AddField(
            model_name="settlement", name="code", field=models.CharField(blank=True, max_length=80)
        ),
    ]
