"""What was asked for beside a job's subject."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("shared", "0002_job_by_subject"),
    ]

    operations = [
        migrations.AddField(
            model_name="job",
            name="asked",
            field=models.JSONField(default=dict),
        ),
    ]
