#!/usr/bin/env python3
"""Django's entry, which sets itself up: where the pinned packages are missing it makes `.venv` and goes on in it."""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
ENVIRONMENT = HERE / ".venv"
NEEDED = (3, 11)
WHOLE = ["-n", "2", "--dist", "loadfile"]  # the whole suite: two processes, each file's tests in one of them


def packages_are_here() -> bool:
    try:
        import django  # noqa: F401
        import drf_spectacular  # noqa: F401
        import ezdxf  # noqa: F401
        import reportlab  # noqa: F401
        import shapely  # noqa: F401
    except ImportError:
        return False
    return True


def set_up() -> None:
    """Make `.venv` with the pinned packages, once a change of requirements.txt, and run this command in it."""
    python = ENVIRONMENT / "bin" / "python"
    wanted = hashlib.sha256((HERE / "requirements.txt").read_bytes()).hexdigest()
    stamp = ENVIRONMENT / "requirements.sha256"
    if not python.exists():
        print("Setting up: a virtual environment in .venv", file=sys.stderr)
        subprocess.run([sys.executable, "-m", "venv", str(ENVIRONMENT)], check=True)
    if not stamp.exists() or stamp.read_text() != wanted:
        print("Setting up: the packages of requirements.txt (a few minutes, once)", file=sys.stderr)
        pip = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
        subprocess.run([*pip, "-r", str(HERE / "requirements.txt")], check=True, stdout=sys.stderr)
        stamp.write_text(wanted)
    os.execv(str(python), [str(python), str(HERE / "manage.py"), *sys.argv[1:]])


def main() -> None:
    if sys.version_info < NEEDED:
        sys.exit(f"Python {NEEDED[0]}.{NEEDED[1]} or newer is needed; this is {sys.version.split()[0]}.")
    inside = Path(sys.prefix) == ENVIRONMENT
    if not packages_are_here() and not inside:
        set_up()
    if sys.argv[1:2] == ["test"]:
        os.chdir(HERE)
        os.execv(sys.executable, [sys.executable, "-m", "pytest", "tests", *(sys.argv[2:] or WHOLE)])
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopfloor.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
