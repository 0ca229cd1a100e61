"""A worker as a process of its own, on the tests' database, whose work the tests can hold up.

    python -m tests.shopfloor.worker_process DATABASE FOLDER [parent]

It counts: `telling` says how far it is until the file `go` is in the folder; `silent` is away for minutes, as in
compiled code. `parent` ends it with the process that started it.
"""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import django
from django.conf import settings

SILENT_SECONDS = 600


def main(database: str, folder: str, *words: str) -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopfloor.settings")
    settings.DATABASES["default"]["NAME"] = database
    django.setup()
    from django.db import transaction

    from fittings.models import CodeSeries
    from shared.turn import write_turn
    from shopfloor.worker import work_until_told

    def result(run):
        with write_turn(), transaction.atomic():
            row = CodeSeries.objects.select_for_update().get()
            row.next_number += 1
            row.save()
            run.finish("Counted.")

    def telling(run):
        while not (Path(folder) / "go").exists():
            run.tell(0.5, "half of it counted")
            time.sleep(0.01)
        result(run)

    def silent(run):
        run.tell(0.5)
        time.sleep(SILENT_SECONDS)
        result(run)

    work_until_told(
        {"telling": telling, "silent": silent},
        is_once="once" in words,
        parent=os.getppid() if "parent" in words else None,
    )


if __name__ == "__main__":
    main(*sys.argv[1:])
