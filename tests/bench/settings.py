"""The app's own settings, with the bare views beside its addresses: same server, middleware and database."""

from shopfloor.settings import *  # noqa: F403

ROOT_URLCONF = "tests.bench.urls"
