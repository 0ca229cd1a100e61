"""The bare stack: views that do one insert and one update, and a view that does nothing.

`bare/write/` is written as a view of this framework usually is, by the ORM; `bare/sql/` by plain SQL, the least that
the stack can do. Their two tables are made by the harness.
"""

import json

from django.db import connection, models, transaction
from django.db.models import F
from django.http import HttpResponse, JsonResponse
from django.urls import include, path
from django.views.decorators.csrf import csrf_exempt

from shared.turn import write_turn


class Row(models.Model):
    text = models.CharField(max_length=200)

    class Meta:
        app_label = "bench"
        managed = False
        db_table = "bench_row"

    def __str__(self) -> str:
        return self.text


class Count(models.Model):
    n = models.IntegerField()

    class Meta:
        app_label = "bench"
        managed = False
        db_table = "bench_count"

    def __str__(self) -> str:
        return str(self.n)


def _which(request) -> int:
    return hash(request.body) % 64


@csrf_exempt
def bare_write(request):
    with transaction.atomic():
        Row.objects.create(text="x" * 100)
        Count.objects.filter(pk=_which(request)).update(n=F("n") + 1)
    return JsonResponse({"ok": True})


@csrf_exempt
def bare_sql(request):
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("INSERT INTO bench_row (text) VALUES (%s)", ["x" * 100])
        cursor.execute("UPDATE bench_count SET n = n + 1 WHERE id = %s", [_which(request)])
    return JsonResponse({"ok": True})


@csrf_exempt
def bare_batch(request):
    """One insert and one update a scan, each in a transaction of its own, in turns: SQLite alone lets some starve."""
    scans = json.loads(request.body)["scans"]
    for scan in scans:
        with write_turn(), transaction.atomic():
            Row.objects.create(text="x" * 100)
            Count.objects.filter(pk=hash(scan["id"]) % 64).update(n=F("n") + 1)
    return JsonResponse({"results": [{"id": scan["id"]} for scan in scans]})


def bare_nothing(request):
    return HttpResponse(status=304)


urlpatterns = [
    path("bare/write/", bare_write),
    path("bare/sql/", bare_sql),
    path("bare/batch/", bare_batch),
    path("bare/nothing/", bare_nothing),
    path("", include("shopfloor.urls")),
]
