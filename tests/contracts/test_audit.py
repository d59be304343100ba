"""The audit of dependencies fails on an advisory, and says so where nothing could be proven."""

from __future__ import annotations

from importlib.machinery import SourceFileLoader
from importlib.util import module_from_spec, spec_from_loader
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[2] / ".ci" / "audit"
SOUND = {"name": "sound", "version": "1.0", "vulns": []}
BAD = {"name": "bad", "version": "1.0", "vulns": [{"id": "X-1", "fix_versions": ["1.1"]}]}
SKIPPED = {"name": "odd", "skip_reason": "not found"}


@pytest.fixture
def audit():
    """The script as a module."""
    loader = SourceFileLoader("audit_script", str(SCRIPT))
    spec = spec_from_loader(loader.name, loader)
    made = module_from_spec(spec)
    loader.exec_module(made)
    return made


@pytest.mark.parametrize(
    ("found", "code", "said"),
    [
        ([SOUND, BAD], 1, "bad 1.0: X-1, fixed in: 1.1"),
        ([SOUND], 0, "1 of"),
        ([SOUND, SKIPPED], 0, "WARNING: 1 of"),
        ("no route to anywhere", 0, "WARNING: none of"),
    ],
)
def test_only_an_advisory_fails_and_what_is_not_proven_is_said(
    audit, monkeypatch, capsys, found, code, said
):
    monkeypatch.setattr(audit, "audited", lambda: found)
    assert audit.main() == code
    assert said in capsys.readouterr().out


def test_the_gate_runs_it():
    assert "python .ci/audit" in (SCRIPT.parent / "run").read_text("utf-8")
