"""The working day that a shop had set in its table "shop" becomes a row of its own table of shifts."""

from datetime import datetime, timedelta

from django.db import migrations

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
OWN = ("day_starts", "day_ends", "break_minutes", "work_days")


def shift_of(facts: dict[str, str]) -> dict[str, str]:
    """The row, with the break in the middle of the shift; what cannot be read is the usual."""
    try:
        starts, ends = (datetime.strptime(facts[key], "%H:%M") for key in ("day_starts", "day_ends"))
    except (KeyError, ValueError):
        starts, ends = datetime(1900, 1, 1, 7), datetime(1900, 1, 1, 15, 30)
    try:
        pause = max(0, round(float(facts.get("break_minutes", "45"))))
    except ValueError:
        pause = 45
    if ends <= starts:
        ends += timedelta(days=1)
    middle = starts + (ends - starts - timedelta(minutes=pause)) / 2
    middle = middle.replace(second=0, microsecond=0)
    typed = facts.get("work_days", "").lower()
    days = " ".join(day for day in DAYS if day.lower() in typed) or " ".join(DAYS[:5])
    over = middle + timedelta(minutes=pause)
    return {
        "name": "Day",
        "days": days,
        "starts": f"{starts:%H:%M}",
        "ends": f"{ends:%H:%M}",
        "breaks": f"{middle:%H:%M}-{over:%H:%M}" if pause else "",
        "source": "the shop's own setting",
    }


def forwards(apps, schema_editor):
    versions = apps.get_model("fittings", "TableVersion").objects
    newest = versions.filter(table="shop").order_by("-number").first()
    if newest is None or newest.made_by == "set-up" or versions.filter(table="shifts").exists():
        return
    facts = {row["key"]: str(row["value"] or "").strip() for row in newest.rows}
    if not any(facts.get(key) for key in OWN):
        return
    versions.create(
        table="shifts",
        number=1,
        rows=[shift_of(facts)],
        note="From the table of the shop",
        made_by=newest.made_by,
        made_at=newest.made_at,
    )


class Migration(migrations.Migration):
    dependencies = [
        ("shopfloor", "0003_settlement_what"),
        ("fittings", "0006_pin"),
    ]

    operations = [migrations.RunPython(forwards, migrations.RunPython.noop)]
