"""Orders copied within the database, whole weeks later: the same rows with other ids, codes and numbers."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from itertools import islice

from shared.codes import ALPHABET, check_character, number_text


def copies_made(copies: int, over: timedelta) -> None:
    """`copies` of all orders that there are, spread over the time, by one statement a table."""
    from django.db import connection

    if copies < 1:
        return
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET session_replication_role = replica")  # no check of each foreign key
        Copier(cursor, connection.vendor == "postgresql", copies, over).run()
        if connection.vendor == "postgresql":
            cursor.execute("SET session_replication_role = DEFAULT")


def fresh_codes() -> Iterator[str]:
    """Codes from the shop's next number on, by the check character alone; the series goes on after them when closed.

    That no swap of neighbours passes is not asked: it is most of the work of giving codes out.
    """
    from fittings.models import CodeSeries

    series = CodeSeries.objects.get()
    number = -(-series.next_number // 32) * 32
    try:
        while True:
            body = series.mark + number_text(number)[:-1]
            for last in ALPHABET:
                check = check_character(body + last)
                if check in ALPHABET:
                    yield body + last + check
            number += 32
    finally:
        CodeSeries.objects.update(next_number=number + 32)


class Copier:
    def __init__(self, cursor, is_postgresql: bool, copies: int, over: timedelta):
        from fittings import models as fittings
        from shopfloor import models as shopfloor
        from travelers import models as travelers

        self.cursor, self.is_postgresql, self.copies, self.over = cursor, is_postgresql, copies, over
        self.models = (
            fittings.Order, fittings.OrderChange, fittings.OrderLine, travelers.Traveler, fittings.Fitting,
            fittings.Segment, travelers.Task, travelers.Scan, travelers.ScanTarget, travelers.LinePrice,
            travelers.Quote, travelers.Delivery, travelers.DeliveredFitting, fittings.CutPlan, fittings.CutSheet,
            fittings.CutPiece, fittings.OutwardEvent, shopfloor.Promise, shopfloor.Downtime, shopfloor.OrderCost,
            shopfloor.MonthCost,
        )  # fmt: skip
        self.span = {
            model: self.value(f"SELECT MAX({self.key(model)}) FROM {self.table(model)}")
            for model in self.models
        }

    def run(self) -> None:
        self.shifts_made()
        self.codes_made()
        self.cursor.execute(  # the place of the copy's number in it, which is by chance
            "UPDATE fittings_outwardevent SET key = substr(key, 1, 8) || '0000' || substr(key, 13)"
        )
        for model in self.models:
            self.copy(model)
        self.ended()

    def shifts_made(self) -> None:
        """A row for each copy: how many days later it is, and in which month."""
        from fittings.models import Order

        released = Order.objects.order_by("released_at").values_list("released_at", flat=True)[0]
        weeks = self.over.days // 7 - 1
        self.cursor.execute(
            "CREATE TEMPORARY TABLE ten_copy (n INTEGER PRIMARY KEY, days INTEGER, month DATE)"
        )
        rows = []
        for n in range(1, self.copies + 1):
            days = 7 * (n * weeks // self.copies)
            rows.append((n, days, (released + timedelta(days=days)).date().replace(day=1).isoformat()))
        self.cursor.executemany("INSERT INTO ten_copy VALUES (%s, %s, %s)", rows)
        self.counted("ten_copy")

    def codes_made(self) -> None:
        """Fresh codes of the shop's own series for each copy of whatever has one."""
        from fittings.models import CutSheet, Fitting, Segment
        from travelers.models import Traveler

        old = [
            code
            for model in (Traveler, Fitting, Segment, CutSheet)
            for code in model.objects.exclude(code="").order_by("pk").values_list("code", flat=True)
        ]
        self.cursor.execute(
            "CREATE TEMPORARY TABLE ten_code (n INTEGER, old VARCHAR(10), new VARCHAR(10), PRIMARY KEY (n, old))"
        )
        fresh = fresh_codes()
        for n in range(1, self.copies + 1):
            rows = list(zip([n] * len(old), old, islice(fresh, len(old)), strict=True))
            if self.is_postgresql:
                with self.cursor.copy("COPY ten_code FROM STDIN") as copy:
                    for row in rows:
                        copy.write_row(row)
            else:
                self.cursor.executemany("INSERT INTO ten_code VALUES (%s, %s, %s)", rows)
        self.counted("ten_code")
        fresh.close()

    def copy(self, model) -> None:
        """From a copy of the recorded rows, so that no row that is just written is read again."""
        table, fields = self.table(model), model._meta.concrete_fields
        codes: list[str] = []
        values = [self.text(model, field, codes) for field in fields]
        joins = " ".join(
            f"LEFT JOIN ten_code c{at} ON c{at}.n = s.n AND c{at}.old = t.{column}"
            for at, column in enumerate(codes)
        )
        self.cursor.execute(
            f"CREATE TEMPORARY TABLE ten_rows AS SELECT * FROM {table} ORDER BY {self.key(model)}"
        )
        self.counted("ten_rows")
        columns = ", ".join(f'"{field.column}"' for field in fields)
        self.cursor.execute(
            f"INSERT INTO {table} ({columns}) SELECT {', '.join(values)}"
            f" FROM ten_copy s CROSS JOIN ten_rows t {joins}"
        )
        self.cursor.execute("DROP TABLE ten_rows")
        if self.is_postgresql and model._meta.pk.get_internal_type().endswith("AutoField"):
            self.cursor.execute(
                f"SELECT setval(pg_get_serial_sequence('{table}', '{self.key(model)}'),"
                f" (SELECT MAX({self.key(model)}) FROM {table}))"
            )
        self.counted(table)

    def text(self, model, field, codes: list[str]) -> str:
        """What a column of a copy is, of row t in copy s."""
        own, kind = f't."{field.column}"', field.get_internal_type()
        name = f"{model.__name__}.{field.name}"
        if name in CODES:
            codes.append(field.column)
            return f"COALESCE(c{len(codes) - 1}.new, {own})"
        if name in OTHERWISE:
            words = {
                "own": own,
                "span": self.span[model],
                "first_customer": self.value("SELECT MIN(id) FROM fittings_customer WHERE id > 6"),
                "hex": "lpad(to_hex(s.n), 4, '0')" if self.is_postgresql else "printf('%04x', s.n)",
            }
            return OTHERWISE[name].format(**words)
        if field.related_model in self.span:
            return f"{own} + s.n * {self.span[field.related_model]}"
        if field.primary_key:
            return f"{own} + s.n * {self.span[model]}"
        if kind == "DateTimeField":
            later = f"{own} + s.days * INTERVAL '1 day'"
            return later if self.is_postgresql else f"date({own}, s.days || ' days') || substr({own}, 11)"
        if kind == "DateField":
            return f"{own} + s.days" if self.is_postgresql else f"date({own}, s.days || ' days')"
        return own

    def ended(self) -> None:
        """The counters after it, as the app left them after as much work."""
        from django.db.models import Max

        from fittings.models import EventSeries, Order, OutwardEvent
        from shopfloor.models import CostMark
        from travelers.models import Pulse, Scan, ScanTarget

        Pulse.objects.update(sequence=Scan.objects.aggregate(most=Max("sequence"))["most"])
        EventSeries.objects.update(last=OutwardEvent.objects.aggregate(most=Max("number"))["most"])
        CostMark.objects.update(
            target=ScanTarget.objects.aggregate(most=Max("pk"))["most"],
            looked_at=Order.objects.aggregate(most=Max("ended_at"))["most"] + timedelta(days=1),
        )
        for table in ("ten_copy", "ten_code"):
            self.cursor.execute(f"DROP TABLE {table}")

    def counted(self, table: str) -> None:
        """PostgreSQL's planner is told what is in a table; it cannot know by itself before the transaction's end."""
        if self.is_postgresql:
            self.cursor.execute(f"ANALYZE {table}")

    def table(self, model) -> str:
        return model._meta.db_table

    def key(self, model) -> str:
        return model._meta.pk.column

    def value(self, sql: str):
        self.cursor.execute(sql)
        return self.cursor.fetchone()[0]


CODES = (
    "Traveler.code", "Fitting.code", "Fitting.traveler_code", "Segment.code", "CutSheet.code", "Scan.code",
)  # fmt: skip
OTHERWISE = {  # columns that are more than the recorded row's, moved
    "Order.number": "CAST(CAST({own} AS BIGINT) + s.n * {span} AS VARCHAR(30))",
    "Order.customer": "{first_customer} + ({own} - {first_customer} + s.n * 37) % 400",
    "Order.purchase_order": "'PO-' || (30000 + t.id + s.n * {span})",
    "OrderLine.tag": "substr({own}, 1, 4) || ((t.id * 7 + s.n * 57) % 400)",
    "Scan.scan_id": "substr({own}, 1, 9) || {hex} || substr({own}, 14)",
    "Scan.undoes": "CASE WHEN {own} = '' THEN '' ELSE substr({own}, 1, 9) || {hex} || substr({own}, 14) END",
    "OutwardEvent.key": "substr({own}, 1, 8) || {hex} || substr({own}, 13)",
    "OutwardEvent.number": "{own} + s.n * {span}",
    "Quote.number": "{own} + s.n * {span}",
    "CutPlan.number": "{own} + s.n * {span}",
    "MonthCost.month": "s.month",
    "MonthCost.order_month": "s.month",
}
