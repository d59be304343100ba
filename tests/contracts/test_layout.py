"""A reader finds the tests of a module under its own name, and no module outgrows one sitting."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
# Without the docstrings of functions and classes, whose sections are looked up, not read through.
MOST_LINES = 300
# Folders whose every module has a test file of its own name in the mirrored folder. A use case or
# schema is tested through its resource, a command through the command line.
MIRRORED = (
    "api/resources",
    "api/rules",
    "api/rules/fitting",
    "api/rules/uncertainty",
    "api/store",
    "api/web",
    "graph",
)
# Modules of those folders without one, and where their tests are instead.
ELSEWHERE = {
    "api/resources/access.py": "tests/whole/test_customer_keys.py: what a customer's key sees",
    "api/store/casework.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/chunks.py": "tests/api/services/test_imports.py: more than one statement takes",
    "api/store/comparisons.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/database.py": "tests/api/services/test_imports.py: locks, queues and rollback",
    "api/store/fitting.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/evaluations.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/keyed.py": "tests/api/store/test_records.py reads through it",
    "api/store/pages.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/tables.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/types.py": "tests/api/resources/test_calibrations.py: digits come back as sent",
    "api/store/uncertainty.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/upsert.py": "tests/api/web/test_idempotency.py: of parallel duplicates one is done",
    "api/web/clock.py": "one call of the system's clock",
    "api/web/pictures.py": "tests/api/resources/test_decisions.py asks for pictures",
}


def modules() -> list[str]:
    found = [*(ROOT / "api").rglob("*.py"), *(ROOT / "graph").rglob("*.py")]
    names = [path.relative_to(ROOT).as_posix() for path in found if path.name != "__init__.py"]
    return sorted(name for name in names if "/migrations/" not in name)


def lines_of_docstrings(text: str) -> int:
    documented = [
        node.body[0]
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.ClassDef | ast.FunctionDef) and ast.get_docstring(node)
    ]
    return sum((first.end_lineno or 0) - first.lineno + 1 for first in documented)


@pytest.mark.parametrize(
    "name", [name for name in modules() if name.rpartition("/")[0] in MIRRORED]
)
def test_a_module_has_its_tests_under_its_own_name(name):
    folder, _, file = name.rpartition("/")
    assert name in ELSEWHERE or (ROOT / "tests" / folder / f"test_{file}").exists()


@pytest.mark.parametrize("name", modules())
def test_a_module_can_be_read_in_one_sitting(name):
    text = (ROOT / name).read_text("utf-8")
    lines = len(text.splitlines()) - lines_of_docstrings(text)
    if name != "api/store/tables.py":  # a plain list of columns
        assert lines <= MOST_LINES, f"{name} has {lines} lines"


@pytest.mark.parametrize("name", ELSEWHERE)
def test_an_exception_is_still_one(name):
    assert (ROOT / name).exists()


def test_no_folder_of_tests_is_a_package():
    # With one, two test modules of the same name would hide each other.
    assert list((ROOT / "tests").rglob("__init__.py")) == []
