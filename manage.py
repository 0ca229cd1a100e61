#!/usr/bin/env python3
"""Django's entry, which sets itself up: where the pinned packages are missing it makes `.venv` and goes on in it."""

import hashlib
import os
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

HERE = Path(__file__).resolve().parent
ENVIRONMENT = HERE / ".venv"
NEEDED = (3, 11)
# The whole suite: two processes, each file's tests in one of them; in the order of the folders, the long ones first.
WHOLE = ["-n", "2", "--dist", "loadfile", "--no-loadscope-reorder"]


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
    if not stamp.exists() or not python.exists():
        print("Setting up: a virtual environment in .venv", file=sys.stderr)
        make_environment()
    if not stamp.exists() or stamp.read_text() != wanted:
        print("Setting up: the packages of requirements.txt (a few minutes, once)", file=sys.stderr)
        pip = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
        if subprocess.run([*pip, "-r", str(HERE / "requirements.txt")], stdout=sys.stderr).returncode:
            sys.exit(
                "The packages of requirements.txt could not be installed; what pip says of it stands above. "
                "They are fetched from the internet, once. The same command goes on where it stopped."
            )
        stamp.write_text(wanted)
    os.execv(str(python), [str(python), str(HERE / "manage.py"), *sys.argv[1:]])


def make_environment() -> None:
    """Make `.venv`, or what is missing of one whose making was broken off."""
    if find_spec("ensurepip") is None:
        sys.exit(
            "Python's own part for virtual environments is missing here. On Debian: apt install python3-venv. "
            "Then start this again."
        )
    command = [sys.executable, "-m", "venv", str(ENVIRONMENT)]
    made = subprocess.run(command, stdout=subprocess.PIPE, text=True)
    if made.returncode:
        sys.exit(f"No virtual environment could be made in {ENVIRONMENT}. {made.stdout.strip()}".strip())


def main() -> None:
    if sys.version_info < NEEDED:
        sys.exit(f"Python {NEEDED[0]}.{NEEDED[1]} or newer is needed; this is {sys.version.split()[0]}.")
    inside = Path(sys.prefix) == ENVIRONMENT
    if not packages_are_here() and not inside:
        set_up()
    if sys.argv[1:2] == ["test"]:
        os.chdir(HERE)
        asked = sys.argv[2:] or WHOLE
        is_part = any(one.startswith("tests") and Path(one.partition("::")[0]).exists() for one in asked)
        where = [] if is_part else ["tests"]
        os.execv(sys.executable, [sys.executable, "-m", "pytest", *where, *asked])
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shopfloor.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
