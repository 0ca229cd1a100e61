"""A database before the app opens on it: an older one is backed up and changed, a newer one or none is refused."""

from __future__ import annotations

import json
import zipfile
from datetime import UTC, datetime

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from shopfloor import upgrading
from shopfloor.backups.facts import NoBackup
from shopfloor.backups.services import backup_restore
from shopfloor.upgrading import CannotOpen, database_check, database_upgrade
from tests.shopfloor.test_backup import MANIFEST, alone, data, everything, on  # noqa: F401 (fixtures)
from travelers.models import Scan

NOW = datetime(2026, 3, 4, 15, 0, tzinfo=UTC)


@pytest.fixture
def older(on, data) -> str:  # noqa: F811
    """The shop as the version before had it: without the last migration that can be taken back. Its name."""
    loader = MigrationLoader(connection)
    leaves = [
        key for key in loader.graph.leaf_nodes() if key[0] in ("shared", "fittings", "travelers", "shopfloor")
    ]
    app, name = next(
        key for key in leaves if all(one.reversible for one in loader.disk_migrations[key].operations)
    )
    before = max(other for label, other in loader.disk_migrations if label == app and other < name)
    call_command("migrate", app, before, verbosity=0)
    yield f"{app}.{name}"
    call_command("migrate", verbosity=0)


def applied() -> set[str]:
    return {f"{app}.{name}" for app, name in MigrationRecorder(connection).applied_migrations()}


def test_an_older_database_is_backed_up_and_brought_to_this_version(older, data):  # noqa: F811
    assert older not in applied()
    database_check()
    before = database_upgrade(is_kept=True, now=NOW)
    assert older in applied()
    assert before == data / "backups" / "before-upgrade-20260304-150000Z.zip"
    with zipfile.ZipFile(before) as file:
        told = json.loads(file.read(MANIFEST))["facts"]
    assert older not in told["migrations"]
    assert told["counts"]["travelers_scan"] == Scan.objects.count() == 3
    assert database_upgrade(is_kept=True, now=NOW) is None, "there is nothing left to do"


def test_the_backup_of_before_puts_the_same_record_back(older, on):  # noqa: F811
    before = database_upgrade(is_kept=True, now=NOW)
    was = everything()
    on.scan("seam", on.segment(2).code)
    assert everything() != was
    connection.close()
    backup_restore(file=before, now=NOW)
    call_command("migrate", verbosity=0)
    kept = everything()
    for table in ("travelers_scan", "travelers_task", "fittings_order", "fittings_segment"):
        assert kept[table] == was[table], table


def test_without_its_backup_nothing_is_upgraded_unless_that_is_wanted(older, data):  # noqa: F811
    (data / "backups").write_text("in the way")
    with pytest.raises(NoBackup):
        database_upgrade(is_kept=True, now=NOW)
    assert older not in applied()
    assert database_upgrade(is_kept=False, now=NOW) is None
    assert older in applied()


def test_a_newer_database_is_refused_and_left_as_it_is(on, data):  # noqa: F811
    MigrationRecorder(connection).record_applied("fittings", "9999_of_tomorrow")
    was = everything()
    with pytest.raises(
        CannotOpen, match=r"newer version of the app: fittings\.9999_of_tomorrow is unknown here"
    ):
        database_check()
    assert everything() == was
    MigrationRecorder(connection).record_unapplied("fittings", "9999_of_tomorrow")
    database_check()


def test_why_postgresql_is_not_reached_is_said(monkeypatch):
    monkeypatch.setitem(upgrading.connection.settings_dict, "HOST", "127.0.0.1")
    monkeypatch.setitem(upgrading.connection.settings_dict, "PORT", "1")
    with pytest.raises(
        CannotOpen, match=r"^DATABASE_URL: the database cannot be reached: .*port 1.*refused\.$"
    ):
        upgrading._reach_postgresql()
