"""Settings for gunicorn: `gunicorn -c python:api.gunicorn_conf`, and options as usual after it.

Worker processes count into files of one folder, so that any of them answers /metrics for all. The
folder must be known before the meters are imported; here is the place for that, since gunicorn
reads this in its first process and workers inherit the environment. It is made anew unless
PROMETHEUS_MULTIPROC_DIR names one, and removed at the end.

gunicorn needs a POSIX system; nothing here is imported on others.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from typing import Any

from api.settings import Settings

FOLDER = "PROMETHEUS_MULTIPROC_DIR"

_settings = Settings.from_environment()
_formatter = {"json": "api.web.logs.JsonFormatter", "text": "api.web.logs.TextFormatter"}

wsgi_app = "api.serving:application()"
worker_class = "gthread"
threads = 8
# A request may take as long as it likes in a thread; this is how long a worker may be stuck.
timeout = 60
graceful_timeout = int(_settings.stop_seconds)
# Longer than the proxy keeps an idle connection, so that it is the proxy that closes.
keepalive = 75
# A worker's heartbeat must not wait for a disk.
worker_tmp_dir = "/dev/shm" if os.path.isdir("/dev/shm") else None
# A way in that nobody asked for; signals do.
control_socket_disable = True
logconfig_dict = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"ours": {"()": _formatter[_settings.log_format.lower()]}},
    "handlers": {
        "stderr": {
            "class": "logging.StreamHandler",
            "formatter": "ours",
            "stream": "ext://sys.stderr",
        }
    },
    "root": {"level": "WARNING", "handlers": ["stderr"]},
    "loggers": {
        "gunicorn.error": {"level": "INFO", "handlers": ["stderr"], "propagate": False},
        "gunicorn.access": {"level": "WARNING", "handlers": [], "propagate": False},
    },
}

_made: str | None = None
if not os.environ.get(FOLDER):
    _made = os.environ[FOLDER] = tempfile.mkdtemp(prefix="tracehold-metrics-")


def post_fork(_server: Any, _worker: Any) -> None:
    """Let a worker refuse what is no request, or too long a one, with a problem document.

    Such a request never reaches the application; gunicorn answers it by this function, in HTML.
    """
    from gunicorn import util  # type: ignore[import-untyped]

    util.write_error = write_problem


def write_problem(sock: Any, status: int, reason: str, detail: str) -> None:
    """Answer with a problem document (RFC 9457), and close."""
    from gunicorn.util import write_nonblock  # type: ignore[import-untyped]

    problem = {"type": "about:blank", "title": reason, "status": status}
    body = json.dumps(problem | ({"detail": detail} if detail else {})).encode()
    head = (
        f"HTTP/1.1 {status} {reason}\r\nConnection: close\r\n"
        f"Content-Type: application/problem+json\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    write_nonblock(sock, head.encode("latin1") + body)


def child_exit(_server: Any, worker: Any) -> None:
    """Keep what a worker counted, and forget what it was doing."""
    from prometheus_client.multiprocess import mark_process_dead

    mark_process_dead(worker.pid)  # type: ignore[no-untyped-call]


def on_exit(_server: Any) -> None:
    """Remove the folder that was made for the counters."""
    if _made is not None:
        shutil.rmtree(_made, ignore_errors=True)
