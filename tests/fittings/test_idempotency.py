"""One effect for one Idempotency-Key, also under concurrency."""

from datetime import timedelta
from types import SimpleNamespace

import pytest
from django.db import connection
from django.test import Client
from django.utils import timezone

from fittings.idempotency import GIVEN_UP_AFTER, answer_once
from fittings.models import Customer, KeptAnswer, Order
from shared.problems import Conflict, KeyReused
from tests.conftest import ApiCaller
from tests.factories import OFFICE_ACTOR, SUPERVISOR_ACTOR, key_for, line, order_body
from tests.threads import together

KEY = "2f0a7c1e-first"


def asked(body=None, key=KEY, path="/api/v1/orders/"):
    return SimpleNamespace(headers={"Idempotency-Key": key}, method="POST", path=path, data=body or {"a": 1})


def customer_made(name="Made once"):
    def make():
        return 201, {"id": Customer.objects.create(name=name).pk}

    return make


def test_the_same_key_and_body_get_the_first_answer(office):
    first = office.post("orders/", order_body(), idempotency_key=KEY)
    again = office.post("orders/", order_body(), idempotency_key=KEY)
    assert (first.status_code, again.status_code) == (201, 201)
    assert again.json() == first.json()
    assert again["Idempotency-Replayed"] == "true"
    assert Order.objects.count() == 1


def test_the_order_of_the_names_in_the_body_does_not_matter(office):
    body = order_body()
    office.post("orders/", body, idempotency_key=KEY)
    again = office.post("orders/", dict(reversed(body.items())), idempotency_key=KEY)
    assert again.json()["number"] == "1001"
    assert Order.objects.count() == 1


def test_another_body_is_refused_with_422(office):
    office.post("orders/", order_body(), idempotency_key=KEY)
    answer = office.post("orders/", order_body(lines=[line(quantity=5)]), idempotency_key=KEY)
    assert (answer.status_code, answer["Content-Type"]) == (422, "application/problem+json")
    assert Order.objects.count() == 1


def test_the_same_key_at_another_address_is_refused(office):
    office.post("orders/", order_body(), idempotency_key=KEY)
    assert office.post("customers/", order_body(), idempotency_key=KEY).status_code == 422


def test_a_key_is_of_one_actor(api_as):
    first = api_as("office").post("orders/", order_body(), idempotency_key=KEY)
    second = api_as("supervisor").post("orders/", order_body(), idempotency_key=KEY)
    assert [first.json()["number"], second.json()["number"]] == ["1001", "1002"]


def test_without_a_key_each_request_makes_its_own(office):
    assert [office.post("orders/", order_body()).json()["number"] for _ in range(2)] == ["1001", "1002"]
    assert KeptAnswer.objects.count() == 0


def test_a_refused_request_leaves_its_key_free(office):
    wrong = order_body(lines=[])
    assert office.post("orders/", wrong, idempotency_key=KEY).status_code == 400
    assert KeptAnswer.objects.count() == 0
    assert office.post("orders/", order_body(), idempotency_key=KEY).status_code == 201


def test_a_later_answer_is_the_first_one_even_when_the_order_has_changed(office):
    first = office.post("orders/", order_body(), idempotency_key=KEY).json()
    office.patch("orders/1001/", {"version": 1, "priority": 1})
    assert office.post("orders/", order_body(), idempotency_key=KEY).json() == first


def test_customers_and_tables_take_keys_too(office):
    for _ in range(2):
        answer = office.post("customers/", {"name": "Placeholder"}, idempotency_key="customer")
        assert answer.status_code == 201
    table = office.get("tables/stock/").json()
    body = {"rows": table["rows"], "version": 1, "note": "Same again"}
    versions = {
        office.post("tables/stock/", body, idempotency_key="table").json()["version"] for _ in range(2)
    }
    assert (Customer.objects.count(), versions) == (1, {2})


@pytest.mark.parametrize("key", ["", "x" * 201, "caf\u00e9"])
def test_a_key_that_is_none_is_refused(office, key):
    answer = office.post("orders/", order_body(), idempotency_key=key)
    assert answer.status_code == 400
    assert answer.json()["errors"][0]["field"] == "Idempotency-Key"
    assert Order.objects.count() == 0


def test_while_the_first_request_runs_a_second_is_told_so(db):
    now = timezone.now()
    KeptAnswer.objects.create(who="office office", key=KEY, body_digest="", made_at=now)
    row = KeptAnswer.objects.get()

    def make():
        raise AssertionError("not to be called")

    with pytest.raises(KeyReused):
        answer_once(asked(), OFFICE_ACTOR, make, now=now)
    from shared.api import body_digest

    KeptAnswer.objects.update(body_digest=body_digest(["POST", "/api/v1/orders/", {"a": 1}]))
    with pytest.raises(Conflict) as caught:
        answer_once(asked(), OFFICE_ACTOR, make, now=now)
    assert caught.value.retry_after == 1
    row.refresh_from_db()
    assert row.status is None


def test_a_request_whose_process_died_can_be_taken_over(db):
    begun = timezone.now()

    def die():
        raise SystemExit

    with pytest.raises(SystemExit):
        answer_once(asked(), OFFICE_ACTOR, die, now=begun)
    assert KeptAnswer.objects.count() == 0  # a process that can still tidy up does

    from shared.api import body_digest

    digest = body_digest(["POST", "/api/v1/orders/", {"a": 1}])
    KeptAnswer.objects.create(who="office office", key=KEY, body_digest=digest, made_at=begun)
    later = begun + GIVEN_UP_AFTER + timedelta(seconds=1)
    assert answer_once(asked(), OFFICE_ACTOR, customer_made(), now=later).status_code == 201
    assert answer_once(asked(), OFFICE_ACTOR, customer_made(), now=later).status_code == 201
    assert Customer.objects.count() == 1


def test_a_slow_first_request_that_was_taken_over_changes_nothing(db):
    begun = timezone.now()
    later = begun + GIVEN_UP_AFTER + timedelta(seconds=1)

    def slow():
        answer_once(asked(), OFFICE_ACTOR, customer_made("Second"), now=later)
        return 201, {"id": Customer.objects.create(name="First").pk}

    with pytest.raises(Conflict):
        answer_once(asked(), OFFICE_ACTOR, slow, now=begun)
    assert not Customer.objects.filter(name="First").exists()


def test_work_that_fails_changes_nothing_and_can_be_tried_again(db):
    def fail():
        Customer.objects.create(name="Half")
        raise RuntimeError("disk")

    with pytest.raises(RuntimeError):
        answer_once(asked(), OFFICE_ACTOR, fail)
    assert (Customer.objects.count(), KeptAnswer.objects.count()) == (0, 0)
    assert answer_once(asked(), OFFICE_ACTOR, customer_made()).data == {"id": Customer.objects.get().pk}


def test_checks_run_before_the_transaction_and_only_once(transactional_db):
    seen = []

    def check():
        seen.append(connection.in_atomic_block)
        return "Checked"

    def make(name):
        return 201, {"id": Customer.objects.create(name=name).pk}

    for _ in range(2):
        assert answer_once(asked(), OFFICE_ACTOR, make, before=check).status_code == 201
    assert seen == [False]
    assert Customer.objects.get().name == "Checked"


def test_two_actors_may_choose_the_same_key(db):
    answer_once(asked(), OFFICE_ACTOR, customer_made("One"))
    answer_once(asked(), SUPERVISOR_ACTOR, customer_made("Two"))
    assert Customer.objects.count() == 2


def test_the_same_request_from_many_threads_makes_one_order(live_shop):
    key = key_for("office")

    def ask():
        return ApiCaller(Client(), key).post("orders/", order_body(), idempotency_key=KEY)

    answers = together(*[ask] * 8)
    statuses = [answer.status_code for answer in answers]
    assert len(statuses) == 8
    assert set(statuses) <= {201, 409}
    assert 201 in statuses
    assert {answer.json()["number"] for answer in answers if answer.status_code == 201} == {"1001"}
    assert (Order.objects.count(), KeptAnswer.objects.count()) == (1, 1)
