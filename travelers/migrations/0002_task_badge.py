"""A task keeps the badge that its scan was recorded with: a supervisor's scan has the supervisor's name there."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("travelers", "0001_initial")]

    operations = [
        migrations.AlterField(
            model_name="task", name="badge", field=models.CharField(blank=True, max_length=40)
        ),
    ]
