"""A piece that came from stock has done some of its work."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("travelers", "0010_void_travelers"),
    ]

    operations = [
        migrations.AddField(
            model_name="task",
            name="came_done",
            field=models.BooleanField(db_default=False, default=False),
        ),
    ]
