from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("travelers", "0008_operation_cap"),
    ]

    operations = [
        migrations.AddIndex(
            model_name="scan",
            index=models.Index(
                condition=models.Q(outcome="refused"), fields=["received_at"], name="scan_refused"
            ),
        ),
    ]
