"""Every command that the README shows is run here, in a copy of the checkout and as it stands.

The test command itself is the one exception: it would run this test again, so it is only compared
with the gate, which runs it.
"""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
BLOCKS = re.findall(r"```sh\n(.*?)```", (ROOT / "README.md").read_text(), re.DOTALL)
SETUP, TEST, *TOUR = BLOCKS


@pytest.fixture(scope="module")
def checkout(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Copy what a fresh checkout holds, and nothing that was built or installed in this one."""
    copy = tmp_path_factory.mktemp("fresh") / "checkout"
    left_out = shutil.ignore_patterns(
        ".git", ".venv*", "venv", "*.egg-info", "__pycache__", ".*_cache", ".hypothesis", "*.db*"
    )
    shutil.copytree(ROOT, copy, ignore=left_out)
    return copy


def shell(script: str, checkout: Path) -> str:
    """Run a script as a reader would, in an environment that names no setting of ours."""
    clean = {k: v for k, v in os.environ.items() if not k.startswith(("TRACEHOLD", "PYTEST"))}
    done = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", script],
        cwd=checkout,
        env=clean | {"COLUMNS": "120"},
        capture_output=True,
        text=True,
        timeout=600,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.mark.long
def test_the_first_command_sets_up_and_prints_verdicts_and_the_recall_list(checkout: Path) -> None:
    shown = shell(SETUP, checkout)
    assert "R-005" in shown
    assert "pass" in shown
    assert "40 affected certificates" in shown
    assert "fail -> pass CHANGED" in shown


@pytest.mark.long
def test_the_tour_runs_from_an_empty_database_to_a_chain(checkout: Path) -> None:
    if not (checkout / ".venv").exists():
        shell(SETUP, checkout)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    # Job control, which an interactive shell has by itself, makes "kill %1" work.
    script = "set -m\n" + "\n".join(TOUR).replace("8765", port)
    shown = shell(script, checkout)
    assert '"verdict":"pass"' in shown.replace(" ", "")
    assert "MV-25-0075" in shown
    assert '"number":"R-00002"' in shown
    assert '"effect_rel":{"tension_link":"-0.00' in (checkout / "pin_fault.json").read_text()
    assert (checkout / "decided.csv").read_text().startswith("id,value,U")


def test_the_test_command_is_the_one_that_the_gate_runs() -> None:
    assert TEST.strip() in (ROOT / ".ci" / "run").read_text()
