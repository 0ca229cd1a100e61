"""Making backups and putting them back, as a shop meets it: commands, files and sentences."""

from __future__ import annotations

import gc
import json
import re
import shutil
import sqlite3
import stat
import threading
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import connection, connections, models
from django.db.backends.base.base import BaseDatabaseWrapper

from shopfloor.backups import postgresql, sqlite
from shopfloor.backups.facts import NoBackup
from shopfloor.backups.services import backup_make, backup_restore
from shopfloor.backups.tools import tool
from shopfloor.live import live
from tests.shopfloor.backup_shop import connect, record
from tests.threads import until
from tests.travelers.floor import Floor, floor
from travelers.models import Pulse, Scan

NOW = datetime(2026, 3, 4, 15, 0, tzinfo=UTC)
MANIFEST = "shopfloor-backup.json"


@pytest.fixture
def alone(transactional_db) -> None:
    """No thread of an earlier test has the database open: a restore would be refused, and rightly."""
    live.ends_when(lambda: True)
    try:
        assert until(lambda: not any("board-watcher" in one.name for one in threading.enumerate()), 20)
    finally:
        live.ends_when(lambda: False)
    gc.collect()  # closes those of threads that have ended
    for one in gc.get_objects():  # by type(): `isinstance` looks through weak proxies, and some point nowhere
        if issubclass(type(one), BaseDatabaseWrapper) and one is not connections["default"]:
            one.inc_thread_sharing()  # of a thread that waits for the next browser
            one.close()


@pytest.fixture
def data(alone, settings, tmp_path, monkeypatch) -> Path:
    """A data folder of its own beside the tests' database."""
    settings.DATA_DIR = tmp_path / "data"
    settings.DATA_DIR.mkdir()
    for module in (sqlite, postgresql):
        monkeypatch.setattr(module, "PATIENCE_SECONDS", 1.0)
    return settings.DATA_DIR


@pytest.fixture
def on(live_shop, data) -> Floor:
    made = floor()
    made.scan("cut", made.traveler)
    made.scan("roll", made.segment(1).code, "scrap", reason="Torn")
    made.scan("wrap", made.fittings[1].code)
    return made


def everything() -> dict[str, list]:
    """All rows but those that a restore must change."""
    with connection.cursor() as cursor:
        found = {}
        for table in connection.introspection.table_names():
            cursor.execute(f'SELECT * FROM "{table}"')
            found[table] = sorted(map(str, cursor.fetchall()))
    return record(found)


def names(folder: Path) -> list[str]:
    return sorted(one.name for one in folder.iterdir() if one.name != "write.lock")  # of whoever writes first


def altered(file: Path, to: Path, **changes) -> Path:
    """The same backup with another manifest."""
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(to, "w") as new:
        for name in old.namelist():
            found = old.read(name)
            if name == MANIFEST:
                told = json.loads(found)
                for key, value in changes.items():
                    part = told["facts"] if key in told["facts"] else told
                    part[key] = value(part[key])
                found = json.dumps(told).encode()
            new.writestr(name, found)
    return to


# -- making ------------------------------------------------------------------------


def test_the_command_says_where_how_many_scans_and_that_it_was_checked(on, data, capsys):
    call_command("backup")
    said = capsys.readouterr().out
    (made,) = (data / "backups").iterdir()
    assert re.fullmatch(r"shop-\d{8}-\d{6}Z\.zip", made.name)
    assert re.fullmatch(rf"{made}: 3 scans, \d+\.\d MB, checked\.\n", said)
    assert stat.S_IMODE(made.stat().st_mode) == 0o600, "it holds names and hashes of passwords"


def test_the_file_is_a_zip_that_other_programs_read_and_its_rows_are_those_of_the_shop(on, data, tmp_path):
    made = backup_make(to=tmp_path / "a.zip", now=NOW).path
    with zipfile.ZipFile(made) as file:
        assert file.testzip() is None
        told = json.loads(file.read(MANIFEST))
        file.extractall(tmp_path / "out")
    assert told["facts"]["counts"]["travelers_scan"] == Scan.objects.count() == 3
    assert told["facts"]["epoch"] == Pulse.objects.get().epoch
    if connection.vendor == "sqlite":
        copy = sqlite3.connect(tmp_path / "out" / "shop.sqlite3")
        ids = {one for (one,) in copy.execute("SELECT scan_id FROM travelers_scan")}
        assert ids == set(Scan.objects.values_list("scan_id", flat=True))
        assert copy.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_neither_the_secret_key_nor_any_file_of_the_data_folder_is_in_it(on, data, tmp_path, settings):
    made = backup_make(to=tmp_path / "a.zip", now=NOW).path
    with zipfile.ZipFile(made) as file:
        assert set(file.namelist()) <= {MANIFEST, "shop.sqlite3", "shop.dump"}
        for name in file.namelist():
            assert settings.SECRET_KEY.encode() not in file.read(name)


def test_no_model_keeps_a_file_outside_of_the_database():
    kept = [
        field
        for model in apps.get_models()
        for field in model._meta.get_fields()
        if isinstance(field, models.FileField)
    ]
    assert kept == [], "a backup holds what the database holds; files would have to go along"


def test_a_file_that_exists_stays_as_it_is(on, data, tmp_path):
    (tmp_path / "a.zip").write_text("mine")
    with pytest.raises(NoBackup, match=r"a\.zip exists already, .* Nothing was changed\."):
        backup_make(to=tmp_path / "a.zip", now=NOW)
    assert (tmp_path / "a.zip").read_text() == "mine"


def test_a_folder_that_is_missing_is_not_made_because_its_disk_may_be_missing(on, data, tmp_path):
    with pytest.raises(NoBackup, match="There is no folder .*/usb"):
        backup_make(to=tmp_path / "usb" / "a.zip", now=NOW)
    assert not (tmp_path / "usb").exists()


@pytest.mark.parametrize("keep", [0, -1, 10_001])
def test_a_wrong_number_to_keep_is_refused(keep, on, data):
    with pytest.raises(NoBackup, match=rf"^--keep is {keep}; it can be 1 to 10000\."):
        backup_make(keep=keep, now=NOW)
    assert names(data) == []


def test_a_number_to_keep_needs_a_folder(on, data, tmp_path):
    with pytest.raises(NoBackup, match="--keep needs a folder"):
        backup_make(to=tmp_path / "a.zip", keep=3, now=NOW)


def test_of_its_own_the_newest_stay_and_what_is_not_its_own_always_stays(on, data, tmp_path):
    folder = tmp_path / "shelf"
    folder.mkdir()
    own = [backup_make(to=folder, now=NOW + timedelta(days=day)).path for day in range(4)]
    foreign = folder / "shop-20200101-000001Z.zip"
    foreign.write_text("somebody else's")
    other_shop = altered(own[0], folder / "shop-20200101-000002Z.zip", shop=lambda was: "0" * 16)
    torn = folder / "shop-20200101-000003Z.zip"
    torn.write_bytes(own[0].read_bytes()[:-50])
    linked = folder / "shop-20200101-000004Z.zip"
    linked.symlink_to(own[0])
    (folder / "shop-20200101-000005Z.zip").mkdir()
    renamed = folder / "before the move.zip"
    shutil.copy(own[0], renamed)
    made = backup_make(to=folder, keep=3, now=NOW + timedelta(days=9))
    assert made.deleted == (own[0], own[1])
    left = {foreign, other_shop, torn, linked, renamed, own[2], own[3], made.path}
    assert {one for one in folder.iterdir() if not one.is_dir()} == left


def test_the_backup_just_made_stays_when_the_clock_went_back(on, data, tmp_path):
    late = backup_make(to=tmp_path, now=NOW + timedelta(days=9)).path
    made = backup_make(to=tmp_path, keep=1, now=NOW)
    assert made.path.exists() and made.deleted == (late,)


# -- putting back ------------------------------------------------------------------


def test_the_record_is_as_it_was_the_epoch_is_new_and_it_replays(on, data, tmp_path, capsys, client):
    from django.contrib.sessions.models import Session

    call_command("backup", str(tmp_path / "a.zip"))
    as_it_was, epoch = everything(), Pulse.objects.get().epoch
    on.scan("seam", on.segment(2).code)
    Session.objects.create(session_key="x", session_data="x", expire_date=NOW)
    later = everything()
    assert later != as_it_was
    capsys.readouterr()
    call_command("restore", str(tmp_path / "a.zip"))
    said = capsys.readouterr().out.splitlines()
    assert everything() == as_it_was
    fresh = Pulse.objects.get().epoch
    assert fresh != epoch
    assert client.get("/api/v1/health/").json()["epoch"] == fresh, "tablets hear of it here"
    assert not Session.objects.exists()
    assert said[1].startswith("Restored: 3 scans, as of 20")
    assert said[2] == "The record replays to the same state: 2 fittings, 3 scans."
    (before,) = (data / "backups").iterdir()
    assert said[0] == f"What was there before is in {before}."
    backup_restore(file=before, is_present_kept=False, now=NOW)
    assert everything() == later, "what was there before can be had again"
    assert names(data) == ["backups"]
    on.scan("seam", on.segment(3).code)
    call_command("replay", "--check")


def test_a_state_that_does_not_follow_from_its_record_is_told(on, data, tmp_path, capsys):
    from travelers.models import Task

    Task.objects.filter(operation="cut", segment__position=2).update(is_implied=True)
    backup_make(to=tmp_path / "a.zip", now=NOW)
    with pytest.raises(SystemExit) as ended:
        call_command("restore", str(tmp_path / "a.zip"))
    assert ended.value.code == 1
    assert "The restored state differs from its record in " in capsys.readouterr().err


def test_what_is_no_backup_is_refused(on, data, tmp_path):
    before = everything()
    texts = tmp_path / "notes.zip"
    with zipfile.ZipFile(texts, "w") as file:
        file.writestr("notes.txt", "round ducts")
    (tmp_path / "text").write_text("round ducts all day")
    (tmp_path / "nothing").touch()
    sqlite3.connect(tmp_path / "db").execute("CREATE TABLE one (x)")
    for name in ("notes.zip", "text", "nothing", "db"):
        with pytest.raises(NoBackup, match=rf"{name} is no backup of this app\. Nothing was changed\."):
            backup_restore(file=tmp_path / name, now=NOW)
    with pytest.raises(NoBackup, match=r"There is no file .*/gone\. Nothing was changed\."):
        backup_restore(file=tmp_path / "gone", now=NOW)
    with pytest.raises(NoBackup, match=r"cannot be read: Is a directory\. Nothing was changed\."):
        backup_restore(file=tmp_path, now=NOW)
    assert everything() == before
    assert names(data) == []


def test_a_torn_or_damaged_file_is_refused_wherever_it_is_torn(on, data, tmp_path):
    whole = backup_make(to=tmp_path / "a.zip", now=NOW).path.read_bytes()
    before, bad = everything(), tmp_path / "bad.zip"
    pieces = [whole[:length] for length in (60, 500, len(whole) // 4, len(whole) // 2, len(whole) - 1)]
    for place in (0.3, 0.5, 0.7, 0.9):
        at = int(len(whole) * place)
        pieces.append(whole[:at] + bytes(one ^ 0xFF for one in whole[at : at + 64]) + whole[at + 64 :])
    pieces.append(whole[: len(whole) // 2] + bytes(len(whole) - len(whole) // 2))
    for piece in pieces:
        bad.write_bytes(piece)
        with pytest.raises(NoBackup, match=r"bad\.zip is torn or damaged: .* Nothing was changed\."):
            backup_restore(file=bad, now=NOW)
    assert everything() == before
    assert names(data) == []


def test_a_backup_from_a_newer_version_is_refused(on, data, tmp_path):
    made, before = backup_make(to=tmp_path / "a.zip", now=NOW).path, everything()
    later = altered(made, tmp_path / "b.zip", migrations=lambda was: [*was, "travelers.9999_future"])
    with pytest.raises(NoBackup, match=r"newer version of the app: travelers\.9999_future is unknown here\."):
        backup_restore(file=later, now=NOW)
    with pytest.raises(NoBackup, match=r"newer version of the app\. Nothing was changed\."):
        backup_restore(file=altered(made, tmp_path / "c.zip", format=lambda was: 2), now=NOW)
    assert everything() == before
    assert names(data) == []


def test_a_backup_of_the_other_kind_of_database_is_refused(on, data, tmp_path):
    other = {"sqlite": "postgresql", "postgresql": "sqlite"}
    made = backup_make(to=tmp_path / "a.zip", now=NOW).path
    with pytest.raises(
        NoBackup, match=r"^The backup is of \w+, and this shop uses \w+\. Nothing was changed\."
    ):
        backup_restore(file=altered(made, tmp_path / "b.zip", database=other.get), now=NOW)


def test_a_backup_that_lacks_a_row_is_refused(on, data, tmp_path):
    made, before = backup_make(to=tmp_path / "a.zip", now=NOW).path, everything()
    short = altered(made, tmp_path / "b.zip", counts=lambda was: was | {"travelers_scan": 4})
    with pytest.raises(NoBackup, match="not whole: travelers_scan has 3 rows instead of 4"):
        backup_restore(file=short, now=NOW)
    assert everything() == before
    assert names(data) == []


def test_nothing_is_put_back_while_another_has_the_database_open(on, data, tmp_path):
    made = backup_make(to=tmp_path / "a.zip", now=NOW).path
    on.scan("seam", on.segment(2).code)
    before = everything()
    if connection.vendor == "sqlite":
        other = sqlite3.connect(connection.settings_dict["NAME"])
    else:
        kept = connection.settings_dict
        url = f"postgres://{kept['USER']}@{kept['HOST']}:{kept['PORT']}/{kept['NAME']}"
        other = connect(data, url)
    other.execute("SELECT COUNT(*) FROM travelers_scan").fetchall()
    with pytest.raises(SystemExit) as ended:
        call_command("restore", str(made))
    assert ended.value.code == 1
    assert everything() == before
    assert names(data) == []
    other.close()
    connection.close()
    backup_restore(file=made, now=NOW)
    assert everything() != before


# -- PostgreSQL's programs ---------------------------------------------------------


def programs(folder: Path, *versions: int) -> Path:
    for version in versions:
        place = folder / str(version) / "bin"
        place.mkdir(parents=True)
        (place / "pg_dump").write_text("#!/bin/sh\n")
        (place / "pg_dump").chmod(0o755)
    return folder


@pytest.mark.parametrize(("server", "chosen"), [(13, 13), (14, 15), (15, 15), (16, 17), (17, 17)])
def test_the_program_of_the_servers_version_is_taken_or_the_next_newer_one(server, chosen, tmp_path):
    found = tool("pg_dump", server, programs(tmp_path, 17, 13, 15))
    assert found == str(tmp_path / str(chosen) / "bin" / "pg_dump")


def test_else_the_one_on_the_path_and_where_there_is_none_a_sentence(tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(programs(tmp_path / "path", 1) / "1" / "bin"))
    assert tool("pg_dump", 18, tmp_path) == str(tmp_path / "path" / "1" / "bin" / "pg_dump")
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(NoBackup) as refused:
        tool("pg_dump", 15, tmp_path)
    assert refused.value.detail == (
        "The program pg_dump of PostgreSQL 15 or newer is not installed on this machine "
        "(Debian package: postgresql-client). Nothing was changed."
    )
