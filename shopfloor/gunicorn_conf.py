"""How the app is served: two workers of many threads. A live stream takes a thread for as long as it is open.

`manage.py up` starts gunicorn with this file. Any other start can do the same: `gunicorn -c shopfloor/gunicorn_conf.py`
"""

import os

THREADS_KEPT_FREE = 8

host = os.environ.get("SHOPFLOOR_HOST", "0.0.0.0")
port = os.environ.get("SHOPFLOOR_PORT", "8000")
bind = f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
wsgi_app = "shopfloor.wsgi"
worker_class = "gthread"
workers = int(os.environ.get("SHOPFLOOR_WORKERS", "2"))
threads = max(THREADS_KEPT_FREE + 1, int(os.environ.get("SHOPFLOOR_THREADS", "40")))
os.environ.setdefault("SHOPFLOOR_STREAMS", str(threads - THREADS_KEPT_FREE))

timeout = 60
graceful_timeout = 2
keepalive = 20
worker_connections = 1000
control_socket_disable = True
worker_tmp_dir = "/dev/shm" if os.path.isdir("/dev/shm") else None
loglevel = os.environ.get("SHOPFLOOR_LOG", "warning").lower()


def post_worker_init(worker):
    """Open streams end when the worker begins to stop; otherwise it would wait for them in vain."""
    from shopfloor.live import live

    live.ends_when(lambda: not worker.alive)
