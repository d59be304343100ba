"""Nothing that only POSIX systems have is needed to import any module, so that Windows can serve.

The modules that Windows lacks are blocked and everything of ours is imported. What Windows itself
does is not tested here.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
# Of the standard library's index by platform, from memory.
POSIX_ONLY = (
    "crypt",
    "fcntl",
    "grp",
    "posix_ipc",
    "pty",
    "pwd",
    "resource",
    "syslog",
    "termios",
    "tty",
)
CODE = """
import importlib, pkgutil, signal, sys
for name in sys.argv[1].split(","):
    sys.modules[name] = None
for name in ("SIGHUP", "SIGQUIT", "SIGUSR1", "SIGUSR2", "SIGALRM", "SIGCHLD", "SIGPIPE"):
    delattr(signal, name)
import api, fixtures, graph
for package in (api, fixtures, graph):
    for found in pkgutil.walk_packages(package.__path__, package.__name__ + "."):
        if found.name.endswith("__main__") or ".migrations." in found.name:
            continue
        importlib.import_module(found.name)
        print(found.name)
"""


def test_every_module_can_be_imported_without_what_only_posix_has(tmp_path):
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", CODE, ",".join(POSIX_ONLY)],
        cwd=ROOT,
        # Else gunicorn's settings make a folder for the counters of its workers.
        env=os.environ | {"PROMETHEUS_MULTIPROC_DIR": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    imported = set(done.stdout.split())
    assert {"api.commands.stopping", "api.gunicorn_conf", "api.serving", "graph.recall"} <= imported
    written = [*(ROOT / "api").rglob("*.py"), *(ROOT / "graph").rglob("*.py")]
    names = {
        ".".join(path.relative_to(ROOT).with_suffix("").parts)
        for path in written
        if path.name not in ("__init__.py", "__main__.py") and "migrations" not in path.parts
    }
    assert names <= imported


def test_a_module_that_only_posix_has_would_be_found():
    blocked = "import sys; sys.modules['fcntl'] = None; import fcntl"
    assert subprocess.run([sys.executable, "-c", blocked], capture_output=True).returncode == 1
