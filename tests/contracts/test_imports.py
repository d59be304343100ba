"""What an import costs, and what it must not pull in."""

from __future__ import annotations

import importlib.util
import json
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
