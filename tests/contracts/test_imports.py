"""What an import costs, and what it must not pull in."""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def modules_after(statement: str) -> set[str]:
    """Names of all modules that a fresh interpreter holds after a statement."""
    code = f"import sys, json; before = set(sys.modules); {statement}; "
    code += "print(json.dumps(sorted(set(sys.modules) - before)))"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return set(json.loads(done.stdout))


def test_importing_api_imports_nothing_else():
    assert modules_after("import api") == {"api"}


@pytest.mark.skipif(importlib.util.find_spec("api.client") is None, reason="not written yet")
def test_importing_the_client_leaves_flask_and_the_rest_of_ours_out():
    found = modules_after("import api.client")
    assert "flask" not in found
    ours = {m for m in found if m.split(".")[0] in ("api", "graph")}
    assert {m for m in ours if not m.startswith("api.client.")} == {"api", "api.client"}


def test_importing_the_rules_or_the_graph_leaves_the_web_and_the_store_out():
    found = modules_after("import api.rules, graph")
    assert not found & {"flask", "marshmallow", "sqlalchemy", "pandas"}


# The first answer of a new process waits for every import; these cost more than the answer.
SLOW = {"alembic", "flask", "marshmallow", "networkx", "numpy", "pandas", "polars", "pyarrow"}
SLOW |= {"requests", "rich", "scipy", "sqlalchemy"}


def test_a_first_list_is_imported_without_the_slow_libraries():
    statement = "import api.services.recalls.reach, api.commands.reach"
    assert not modules_after(statement) & SLOW


def test_a_complete_recall_is_imported_with_networkx_and_no_other_slow_library():
    statement = "import api.services.recalls.run, api.store.reading, api.store.sources"
    assert modules_after(statement) & SLOW == {"networkx"}


def test_a_first_list_is_answered_without_the_slow_libraries(sqlite_template, tmp_path):
    path = shutil.copyfile(sqlite_template, tmp_path / "laboratory.db")
    with sqlite3.connect(path) as connection:
        columns = "(id, code, kind, content_hash, recorded_us, version)"
        connection.execute(f"INSERT INTO item {columns} VALUES (1, 'REF', 'readout', '', 0, 1)")
    connection.close()
    window = {"last_good_at": "2025-01-01", "isolated_at": "2025-02-01"}
    fault = {"item": "REF", "kind": "unknown", **window}
    (tmp_path / "fault.json").write_text(json.dumps(fault))
    code = "import sys, json; from api.cli import main; main(sys.argv[1:], standalone_mode=False); "
    code += "print(json.dumps(sorted({name.split('.')[0] for name in sys.modules})))"
    done = subprocess.run(
        [sys.executable, "-c", code, "recall", str(tmp_path / "fault.json"), "--reach"],
        cwd=ROOT,
        env=os.environ | {"TRACEHOLD_DATABASE_URL": f"sqlite:///{path}"},
        capture_output=True,
        text=True,
        check=True,
    )
    *shown, modules = done.stdout.splitlines()
    assert shown[0] == "First list: 0 certificates"
    assert not set(json.loads(modules)) & SLOW
