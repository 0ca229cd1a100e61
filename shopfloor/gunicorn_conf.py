"""How the app is served: two workers of many threads, and in each one thread for all its live streams.
A background worker for the long work runs beside them, unless SHOPFLOOR_JOBS=0.

`manage.py up` starts gunicorn with this file. Any other start can do the same: `gunicorn -c shopfloor/gunicorn_conf.py`
"""

import os
import signal
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))  # gunicorn alone has not been there yet

from shopfloor import environment  # noqa: E402

host = environment.text("SHOPFLOOR_HOST", "0.0.0.0")
port = environment.whole("SHOPFLOOR_PORT", 8000, most=65535)
bind = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
wsgi_app = "shopfloor.wsgi"
worker_class = "gthread"
workers = environment.whole("SHOPFLOOR_WORKERS", 2, most=64)
threads = environment.whole("SHOPFLOOR_THREADS", 40, most=1000)

timeout = 60
graceful_timeout = 2
keepalive = 20
worker_connections = 1000
control_socket_disable = True
worker_tmp_dir = "/dev/shm" if os.path.isdir("/dev/shm") else None
has_jobs = environment.switch("SHOPFLOOR_JOBS", default=True)
loglevel = environment.log_level("SHOPFLOOR_LOG")


def post_worker_init(worker):
    """Open streams end when the worker begins to stop, or its server is gone: it would wait for them in vain."""
    from shopfloor.live import live

    # Ctrl-C reaches every process of the terminal. The server hears it and tells its workers: two signals in a row
    # would end a worker, or hold it fast, before its streams have ended.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    live.ends_when(lambda: not worker.alive or worker.ppid != os.getppid())


def when_ready(server):
    """The background worker starts with the server. The keeper hangs on the server: this file is read again on HUP."""
    from shopfloor.keeper import Keeper

    if has_jobs:
        server.keeper = Keeper(server.log)
        server.keeper.start()
        stop = server.stop

        def stop_both(*args, **kwargs):
            server.keeper.leave()
            stop(*args, **kwargs)

        server.stop = stop_both  # gunicorn tells of its end only when all else has stopped


def on_reload(server):
    """HUP starts all processes anew, this one too."""
    if has_jobs:
        server.keeper.renew()


def on_exit(server):
    if has_jobs:
        server.keeper.stop()
