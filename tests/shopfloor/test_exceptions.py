"""What the supervisor's page of exceptions lists, and what it costs."""

from __future__ import annotations

from datetime import timedelta

from django.urls import reverse
from django.utils import timezone

from shared.roles import Actor
from travelers.models import Pulse
from travelers.record import scan_record

STATION = Actor("ROLL-1", "operator", "ROLL-1", ("roll",))


def deliver(number, badge="", at=None, now=None, code="AA0000"):
    now = now or timezone.now()
    scan = {
        "id": f"scan-{number:06}",
        "code": code,
        "action": "finish",
        "badge": badge,
        "scanned_at": (at or now).isoformat(),
    }
    return scan_record(delivery=scan, actor=STATION, now=now)


def page(client, number=1, show="refused"):
    return client.get(reverse("exceptions"), {"show": show, "page": number})


def test_refused_scans_are_listed_with_who_made_them(operator, signed_in):
    ana = operator("Ana Ruiz")
    deliver(1, ana.code)
    deliver(2, ana.code)
    client = signed_in("supervisor")
    seen = page(client)
    assert seen.context["page_obj"].paginator.count == 2
    assert "Ana Ruiz" in seen.content.decode()
    assert len(page(client, show="hold").context["refused"]) == 2


def test_yesterday_is_not_listed(operator, signed_in):
    deliver(1, operator().code, now=timezone.now() - timedelta(days=1))
    assert page(signed_in("supervisor")).context["page_obj"].paginator.count == 0


def test_wrong_sign_ins_are_listed(shop, signed_in, client):
    for _ in range(5):
        client.post(reverse("sign_in"), {"name": "someone", "password": "wrong"})
    text = page(signed_in("supervisor")).content.decode()
    assert "Account someone" in text
    assert ">5<" in text


def test_it_is_paged_and_costs_the_same_for_many(operator, signed_in, django_assert_max_num_queries):
    client = signed_in("supervisor")
    badge = operator().code
    for number in range(60):
        deliver(number, badge)
    assert Pulse.objects.get().sequence == 60
    with django_assert_max_num_queries(18):
        first = page(client)
    assert len(first.context["refused"]) == 50
    assert len(page(client, 2).context["refused"]) == 10
