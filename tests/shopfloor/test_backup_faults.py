"""Backups on bad days: scans that go on, a process that is killed, a disk that is full, a database that is damaged.

Every shop here is one of its own, driven by other processes; its rows are read without the app.
"""

from __future__ import annotations

import os
import resource
import shutil
import time
import zipfile
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.shopfloor.backup_shop import Shop, listing, record
from tests.shopfloor.test_up import manage, running
from tests.threads import until

pytest_plugins = ["tests.shopfloor.backup_fixtures"]
SCANNERS = 3
POINTS = 16


def lines(path: Path) -> list[str]:
    """What is answered so far; a last line may be half written."""
    return path.read_text().split("\n")[:-1] if path.exists() else []


@contextmanager
def scanning(shop: Shop, folder: Path):
    """Stations that scan without a pause; what each was answered is in a file of its own."""
    files = [folder / f"answered-{share}" for share in range(SCANNERS)]
    working = [shop.begin("scan", str(at), str(SCANNERS), str(file)) for at, file in enumerate(files)]

    def answered() -> set[str]:
        return {id_ for file in files for id_ in lines(file)}

    try:
        assert until(lambda: all(len(lines(file)) > 5 for file in files), 120), "nobody scans"
        yield answered
        assert all(each.poll() is None for each in working), "a scanner has ended by itself"
    finally:
        for each in working:
            each.kill()
            each.wait(30)


def test_a_backup_under_scans_holds_all_that_was_answered_before_and_replays(one, empty, tmp_path):
    file = tmp_path / "a.zip"
    with scanning(one, tmp_path) as answered:
        before = answered()
        one.drive("slowly", str(file))
        after = answered()
        assert len(after - before) >= 10, "scans did not go on"
        assert until(lambda: len(answered()) > len(after) + 5, 60), "scans do not go on"
        still_more = answered()
    done = empty.command("restore", str(file))
    assert done.returncode == 0, done.stderr
    assert "The record replays to the same state: 48 fittings, " in done.stdout
    restored = empty.ids()
    was_there = set(one.ids())
    assert before <= set(restored) <= was_there
    assert still_more <= was_there, "the shop itself has lost a scan"
    assert restored == one.ids()[: len(restored)], "the record has a gap"
    sequences = [number for (number,) in empty.ask("SELECT sequence FROM travelers_scan ORDER BY 1")]
    assert sequences == list(range(1, len(sequences) + 1))
    assert empty.command("replay", "--check").returncode == 0
    assert empty.epoch() != one.epoch()


def test_a_restore_killed_anywhere_leaves_the_old_record_or_the_new_one(one, filled, tmp_path, monkeypatch):
    file = tmp_path / "a.zip"
    assert one.command("backup", str(file)).returncode == 0
    one.drive("more_scans")
    changed = one.copy(tmp_path / "changed")
    monkeypatch.setenv("OLD_DATABASE", changed.name)
    try:
        told = [line.split() for line in one.drive("killed", str(POINTS), "restore", str(file)).splitlines()]
    finally:
        changed.gone()
    assert len(told) == POINTS
    assert {word for _, _, word, *_ in told} == {"old", "new"}, told
    order = [word for _, _, word, *_ in told]
    assert order == sorted(order, reverse=True), "old up to one line, new from there on"
    done = one.command("restore", str(file))
    assert done.returncode == 0, done.stderr
    assert record(one.rows()) == record(filled.rows())


def test_a_restore_killed_with_half_of_it_in_the_log_leaves_the_old_record(one_file, filled_file, tmp_path):
    file = tmp_path / "a.zip"
    assert one_file.command("backup", str(file)).returncode == 0
    one_file.drive("more_scans")
    before = record(one_file.rows())
    killed = one_file.begin("killed_while_writing", str(file))
    assert killed.wait(120) == -9
    assert (one_file.data / "shop.sqlite3-wal").stat().st_size > 0
    assert record(one_file.rows()) == before
    assert one_file.ask("PRAGMA integrity_check") == [("ok",)]
    assert one_file.command("restore", str(file)).returncode == 0
    assert record(one_file.rows()) == record(filled_file.rows())


def test_a_backup_killed_anywhere_changes_nothing_and_has_its_name_only_when_it_is_whole(one, tmp_path):
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    file = shelf / "a.zip"
    told = one.drive("killed", str(POINTS), "backup", str(file)).splitlines()
    assert len(told) == POINTS and all(line.split()[2] == "old" for line in told), told
    named = [line.endswith("named") for line in told]
    assert named == sorted(named) and named[-1], "named from one line on, and at the end"
    assert listing(shelf) == ["a.zip"]
    file.unlink()
    assert one.command("backup", str(file)).returncode == 0


def test_what_a_killed_backup_left_is_cleared_after_an_hour_and_nothing_else(one, tmp_path):
    left, fresh, other = (
        tmp_path / name for name in (".shop-backup-a.part", ".shop-backup-b.part", "c.part")
    )
    for folder in (left, fresh, other):
        folder.mkdir()
        (folder / "shop.sqlite3").write_text("half")
    for folder in (left, other):
        os.utime(folder, (time.time() - 7200,) * 2)
    assert one.command("backup", str(tmp_path / "a.zip")).returncode == 0
    assert not left.exists() and fresh.exists() and other.exists()


def at_most(size: int):
    """No file can grow beyond this, as on a disk that is full."""
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))


@pytest.mark.parametrize("size", [1000, 60_000, 120_000])
def test_a_backup_for_which_there_is_no_room_is_told_and_leaves_nothing(size, one, tmp_path):
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    (shelf / "shop-20260101-000000Z.zip").write_text("somebody's")
    before = one.rows()
    done = one.command("backup", str(shelf), "--keep", "1", limit=at_most(size))
    assert done.returncode == 1
    assert done.stdout == "" and "Traceback" not in done.stderr
    assert done.stderr.strip().endswith("Nothing was changed.")
    if not one.url:
        assert done.stderr.strip() == f"There is not enough room in {shelf}. Nothing was changed."
    assert listing(shelf) == ["shop-20260101-000000Z.zip"]
    assert one.rows() == before


def room_for(payload_and: int, file: Path):
    """Room for the database out of the backup and so many bytes more."""
    with zipfile.ZipFile(file) as archive:
        return at_most(max(info.file_size for info in archive.infolist()) + payload_and)


def refuse_for_room(shop: Shop, more: int, folder: Path) -> None:
    file = folder / "a.zip"
    assert shop.command("backup", str(file)).returncode == 0
    before, files = shop.rows(), set(listing(shop.data))
    done = shop.command("restore", str(file), "--without-backup", limit=room_for(more, file))
    assert done.returncode == 1
    assert done.stderr.strip() == f"There is not enough room in {shop.data}. Nothing was changed."
    assert shop.rows() == before
    assert set(listing(shop.data)) - files <= {"shop.sqlite3-wal", "shop.sqlite3-shm"}


def test_a_restore_for_which_there_is_no_room_changes_nothing(one, tmp_path):
    refuse_for_room(one, -5000, tmp_path)


@pytest.mark.parametrize("more", [0, 4096])
def test_nor_where_there_is_room_for_the_copy_and_not_for_the_log(more, one_file, tmp_path):
    refuse_for_room(one_file, more, tmp_path)


def test_a_damaged_database_is_never_backed_up_as_a_good_one(one_file, tmp_path):
    path = one_file.data / "shop.sqlite3"
    root = one_file.ask("SELECT rootpage FROM sqlite_master WHERE name = 'travelers_scan'")[0][0]
    with path.open("r+b") as file:
        file.seek((root - 1) * 4096 + 8)
        file.write(b"\xff" * 600)
    done = one_file.command("backup", str(tmp_path / "a.zip"))
    assert done.returncode == 1 and "Traceback" not in done.stderr
    assert not (tmp_path / "a.zip").exists()


def test_a_database_that_cannot_be_opened_is_set_aside_only_where_that_is_asked_for(
    one_file, filled_file, tmp_path
):
    file = tmp_path / "a.zip"
    assert one_file.command("backup", str(file)).returncode == 0
    (one_file.data / "shop.sqlite3").write_bytes(b"rust" * 5000)
    done = one_file.command("restore", str(file))
    assert done.returncode == 1
    assert (
        "Nothing was changed. To put the backup in its place: restore FILE --without-backup." in done.stderr
    )
    assert (one_file.data / "shop.sqlite3").read_bytes() == b"rust" * 5000
    done = one_file.command("restore", str(file), "--without-backup")
    assert done.returncode == 0, done.stderr
    (aside,) = one_file.data.glob("shop.sqlite3.damaged-*Z")
    assert done.stdout.startswith(f"What could not be read is now {aside}.")
    assert aside.read_bytes() == b"rust" * 5000
    assert record(one_file.rows()) == record(filled_file.rows())


def test_an_older_backup_is_brought_up_to_date(one, tmp_path):
    file = tmp_path / "a.zip"
    assert one.command("migrate", "shared", "0001").returncode == 0
    assert one.command("backup", str(file)).returncode == 0
    assert one.command("migrate", "shared").returncode == 0
    as_it_is = record(one.rows())
    done = one.command("restore", str(file))
    assert done.returncode == 0, done.stderr
    assert "The record replays to the same state: 48 fittings, " in done.stdout
    assert one.ask("SELECT 1 FROM django_migrations WHERE app = 'shared' AND name = '0002_job_by_subject'")
    found = record(one.rows())
    as_it_is.pop("django_migrations")
    found.pop("django_migrations")
    assert found == as_it_is


def test_a_running_app_is_backed_up_and_refuses_a_restore_until_it_is_stopped(tmp_path):
    data = tmp_path / "data"
    with running(data, "--no-demo") as server:
        first = server.wait_until_open()["epoch"]
        manage(data, "backup")
        (file,) = (data / "backups").iterdir()
        done = Shop(data).command("restore", str(file))
        assert done.returncode == 1
        assert done.stderr.strip() == (
            f"The app is running on {data}. Stop it and its workers, then restore. Nothing was changed."
        )
        assert server.wait_until_open()["epoch"] == first
        assert server.interrupt()[0] == 0
    assert manage(data, "restore", str(file)).endswith("Tablets send again the scans that they keep.")
    with running(data, "--no-demo") as server:
        assert server.wait_until_open()["epoch"] != first
    shutil.rmtree(data)
