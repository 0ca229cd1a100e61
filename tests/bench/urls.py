"""The bare stack: a view that does one insert and one update, and a view that does nothing."""

from django.db import connection, transaction
from django.http import HttpResponse, JsonResponse
from django.urls import include, path
from django.views.decorators.csrf import csrf_exempt


@csrf_exempt
def bare_write(request):
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("INSERT INTO bench_row (text) VALUES (%s)", ["x" * 100])
        cursor.execute("UPDATE bench_count SET n = n + 1 WHERE id = %s", [hash(request.body) % 64])
    return JsonResponse({"ok": True})


def bare_nothing(request):
    return HttpResponse(status=304)


urlpatterns = [
    path("bare/write/", bare_write),
    path("bare/nothing/", bare_nothing),
    path("", include("shopfloor.urls")),
]
