"""Every command that the documents show is run here, in a copy of the checkout and as it stands.

A block marked ``sh`` or ``python`` is run, in the order of ``TOUR`` and in one shell; what depends
on the reader's machine is marked ``console``. The test command itself is the one exception: it
would run this test again, so it is only compared with the gate, which runs it.
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
# The later ones go on where the tour of the first ends.
DOCUMENTS = ("README.md", "api/EXAMPLES.md", "api/OPERATING.md")
STOP = "kill %1"


def blocks(document: str) -> list[str]:
    """What a document shows to be run; Python as a command of the shell."""
    text = (ROOT / document).read_text("utf-8")
    found = re.findall(r"^```(sh|python)\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
    return [
        f"python - <<'PYTHON'\n{shown}PYTHON\n" if kind == "python" else shown
        for kind, shown in found
    ]


SETUP, TEST, *TOUR = [block for document in DOCUMENTS for block in blocks(document)]


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
    clean.pop("PYTHONPATH", None)  # the checkout's own installation is what a reader has
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
def test_the_tour_runs_from_an_empty_database_to_a_snapshot(checkout: Path) -> None:
    if not (checkout / ".venv").exists():
        shell(SETUP, checkout)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = str(free.getsockname()[1])
    # An answer of the API ends without a new line.
    tour = "\necho\n".join(TOUR).replace("8765", port)
    # Job control, which an interactive shell has by itself, makes "kill %1" work; a command that
    # fails must not leave the server behind.
    shown = shell(f"set -m\ntrap '{STOP}' EXIT\n{tour}", checkout)
    assert '"verdict":"pass"' in shown.replace(" ", "")
    assert "MV-25-0075" in shown
    assert '"number":"R-00002"' in shown
    # The client's loop: 40 lines of certificate, shift over U and whether the verdict changes.
    listed = re.findall(r"^MV-\S+ [\d.]+ (?:True|False|None)$", shown, re.MULTILINE)
    assert len(listed) == 40
    assert '"effect_rel":{"tension_link":"-0.00' in (checkout / "pin_fault.json").read_text()
    assert (checkout / "decided.csv").read_text().startswith("id,value,U")
    assert (checkout / "copy.db").stat().st_size > 0
    assert (checkout / "restored.db").stat().st_size > 0
    assert (checkout / "snapshot" / "manifest.json").exists()


def test_the_test_command_is_the_one_that_the_gate_runs() -> None:
    assert TEST.strip() in (ROOT / ".ci" / "run").read_text()


def test_the_readme_says_how_to_stop_what_the_tour_started() -> None:
    assert f"`{STOP}`" in (ROOT / "README.md").read_text("utf-8")


def test_no_other_document_marks_a_block_as_one_that_is_run() -> None:
    documents = {
        path.relative_to(ROOT).as_posix()
        for top in (".", "api", "graph", "tests", "fixtures")
        for path in (ROOT / top).glob("*.md" if top == "." else "**/*.md")
    }
    assert set(DOCUMENTS) <= documents
    assert [one for one in sorted(documents - {*DOCUMENTS}) if blocks(one)] == []
