"""Migrate, set the shop up, fill an empty database with the demo shop, and serve. Safe to start again at any time."""

import contextlib
import errno
import io
import os
import socket
import sys

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.db import OperationalError, connections
from django.utils import timezone

from fittings.models import Order
from fittings.search_index import index_begin
from shared.problems import Problem
from shopfloor import environment
from shopfloor.backups.facts import NoBackup
from shopfloor.demo import demo_sign_ins
from shopfloor.first_steps import is_closed_to_all, setup_code_make
from shopfloor.models import Person, Station
from shopfloor.upgrading import database_check, database_upgrade
from travelers.setup import shop_set_up


class Command(BaseCommand):
    help = (
        "Migrates, fills an empty database with the demo shop (unless told not to), and serves until Ctrl-C."
    )
    requires_system_checks = []

    def add_arguments(self, parser):
        parser.add_argument("--port", type=int, default=8000, help="the port to serve on")
        parser.add_argument("--no-demo", action="store_true", help="leave an empty database empty")
        parser.add_argument(
            "--without-backup",
            action="store_true",
            help="do not back the database up before a newer version changes it",
        )

    def handle(self, *args, port: int, no_demo: bool, without_backup: bool, **options):
        host = environment.text("SHOPFLOOR_HOST", "0.0.0.0")
        refusal = port_refusal(host, port)
        if refusal:
            self.stderr.write(refusal)
            sys.exit(1)
        os.umask(0o077)
        try:
            self.prepare(is_demo=not no_demo, is_kept=not without_backup)
        except NoBackup as problem:
            self.stderr.write(f"The database was not upgraded, as no backup could be made. {problem.detail}")
            self.stderr.write("To go on without one: manage.py up --without-backup")
            sys.exit(1)
        except Problem as problem:
            self.stderr.write(problem.detail)
            sys.exit(1)
        except (OSError, OperationalError) as error:
            self.stderr.write(f"The app could not be made ready in {settings.DATA_DIR}: {error}.")
            sys.exit(1)
        for line in greeting(host, port):
            self.say(line)
        connections.close_all()
        os.environ["SHOPFLOOR_PORT"] = str(port)
        os.chdir(settings.BASE_DIR)
        configuration = str(settings.BASE_DIR / "shopfloor" / "gunicorn_conf.py")
        os.execv(
            sys.executable, [sys.executable, "-m", "gunicorn", "-c", configuration, "--no-control-socket"]
        )

    def prepare(self, *, is_demo: bool, is_kept: bool) -> None:
        """All that is there before the first request."""
        database_check()
        self.say("Bringing the database up to date.")
        before = database_upgrade(is_kept=is_kept, now=timezone.now())
        if before:
            self.say(f"It was of an older version; the backup of it is {before}.")
        index_begin()
        shop_set_up(now=timezone.now())
        if is_demo and is_empty():
            self.say("Filling the empty database with the demo shop: about a minute, once.")
            call_command("seed_demo", stdout=io.StringIO())
        self.say("Collecting the static files.")
        call_command("collectstatic", interactive=False, verbosity=0)

    def say(self, line: str) -> None:
        self.stdout.write(line)
        self.stdout.flush()


def is_empty() -> bool:
    """Nothing was entered yet: no order, nobody, no station."""
    return not (Order.objects.exists() or Person.objects.exists() or Station.objects.exists())


def port_refusal(host: str, port: int) -> str:
    """Why this port cannot be served, in a sentence; empty where it can."""
    if not 1 <= port <= 65535:
        return f"Port {port} does not exist. Choose one from 1 to 65535."
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                return (
                    f"Port {port} is in use. Stop what uses it, or choose another one: "
                    f"python manage.py up --port {port + 1 if port < 65535 else port - 1}"
                )
            if error.errno == errno.EACCES:
                return f"Port {port} needs more rights than this account has. Choose one from 1024 on."
            return f"Nothing can be served at {host}, port {port}: {error.strerror}."
    return ""


def addresses(host: str) -> list[str]:
    """The hosts under which this machine can be reached, the nearest first."""
    if host not in ("0.0.0.0", "::", ""):
        return [f"[{host}]" if ":" in host else host]
    found = ["localhost"]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe, contextlib.suppress(OSError):
        probe.connect(("192.0.2.1", 9))  # a documentation address; nothing is sent
        found.append(probe.getsockname()[0])
    with contextlib.suppress(OSError):
        found += [entry[4][0] for entry in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)]
    return [one for one in dict.fromkeys(found) if not one.startswith("127.")]


def origins(host: str, port: int) -> list[str]:
    """How the addresses begin that a browser opens: the shop's own names where a proxy with HTTPS stands in front."""
    if not settings.BEHIND_HTTPS:
        return [f"http://{address}:{port}" for address in addresses(host)]
    named = [f"https://{one}" for one in settings.ALLOWED_HOSTS if not one.startswith(("*", "."))]
    return list(dict.fromkeys([*settings.CSRF_TRUSTED_ORIGINS, *named]))


def greeting(host: str, port: int) -> list[str]:
    """What is printed before the first request: addresses, and the demo sign-ins while they hold."""
    if settings.BEHIND_HTTPS:
        lines = [
            "",
            f"The shop is open to its HTTPS proxy, which finds it at {addresses(host)[0]}, port {port}.",
        ]
    else:
        lines = ["", "The shop is open:"]
    lines += [f"  {origin}/" for origin in origins(host, port)]
    sign_ins = demo_sign_ins()
    if sign_ins:
        lines += ["", "Sign-ins of the demo shop, for trying only:"]
        width = max(len(one.name) for one in sign_ins)
        lines += [f"  {one.name:<{width}}  {one.password}   ({one.role})" for one in sign_ins]
    elif is_closed_to_all():
        code = setup_code_make(now=timezone.now())
        lines += ["", "Nobody can sign in yet. Make the first account, once, with this code:", f"  {code}"]
        lines += [f"  {origin}/first-steps/?code={code}" for origin in origins(host, port)[:1]]
    return [*lines, "", "Ctrl-C stops it. All data is kept.", ""]
