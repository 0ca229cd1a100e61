from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("travelers", "0006_scan_number"),
    ]

    operations = [
        migrations.AddField(
            model_name="operator",
            name="language",
            field=models.CharField(
                choices=[("en", "English"), ("es", "Español")], default="en", max_length=2
            ),
        ),
    ]
