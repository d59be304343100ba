"""A reader finds the tests of a module under its own name, and no module outgrows one sitting."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
# Without the docstrings of functions and classes, whose sections are looked up, not read through.
MOST_LINES = 300
# One subject each that would not read better in two.
LONGER = {
    "api/store/tables.py": "a plain list of columns",
    "graph/faults.py": "every kind of fault, a class of a few lines each",
    "graph/recall.py": "the walk: who is reached, by what, and who cannot be excluded",
}
SERVICES = ROOT / "api" / "services"
ROOMS = sorted(path.parent.name for path in SERVICES.glob("*/__init__.py"))
# Folders whose every module has a test file of its own name in the mirrored folder. A schema is
# tested through its resource, a command through the command line.
MIRRORED = (
    "api/resources",
    "api/rules",
    "api/rules/fitting",
    "api/rules/uncertainty",
    *(f"api/services/{room}" for room in ROOMS),
    "api/store",
    "api/web",
    "graph",
)
# Modules of those folders without one, and where their tests are instead.
ELSEWHERE = {
    "api/resources/access.py": "tests/whole/test_customer_keys.py: what a customer's key sees",
    "api/rules/branch_reasons.py": "tests/api/rules/test_branch_columns.py: each row's own reason",
    "api/rules/guard.py": "tests/api/rules/test_rule.py: a rule is read with its guard",
    "api/rules/printed.py": "tests/api/rules/test_wording.py: numbers in sentences",
    "api/rules/rule_parts.py": "tests/api/rules/test_rule.py: what is refused in a rule",
    "api/rules/settling.py": "tests/api/rules/test_vector.py: rows on an edge",
    "api/services/decisions/interval_ends.py": "tests/api/resources/test_decisions.py: a drift",
    "api/services/grounds/finding.py": "a record without a deed",
    "api/services/batches/solved_limits.py": "tests/api/services/batches/test_columns.py: digits",
    "api/store/agreements.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/services/casework/entry_filters.py": "tests/api/resources/test_dispositions.py filters",
    "api/store/alerts.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/assemblies.py": "tests/api/store/test_sources.py asks it beside a snapshot",
    "api/store/casework.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/chunks.py": "tests/api/services/imports/test_imports.py: several statements",
    "api/store/comparisons.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/database.py": "tests/api/services/imports/test_imports.py: locks and rollback",
    "api/services/certificates/certificate_rows.py": "tests/api/resources/test_calibrations.py",
    "api/services/casework/outstanding.py": "tests/api/resources/test_cases.py closes a case",
    "api/services/recalls/giving_back.py": "tests/api/resources/test_corrected_revisions.py",
    "graph/alternatives.py": "tests/graph/test_in_force.py: certificates that may have served",
    "api/services/grounds/agreed_rules.py": "tests/api/services/grounds/test_figures.py",
    "api/services/grounds/candidates.py": "tests/api/services/grounds/test_ranges.py",
    "api/store/grounds.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/fitting.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/evaluations.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/keyed.py": "tests/api/store/test_records.py reads through it",
    "api/store/pages.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/graph_lock.py": "tests/whole/test_several_servers.py: one import at a time",
    "api/store/record_watch.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/tables.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/types.py": "tests/api/resources/test_calibrations.py: digits come back as sent",
    "api/store/uncertainty.py": "tests/api/store/test_migrate.py compares it with the migrations",
    "api/store/upsert.py": "tests/api/web/test_idempotency.py: of parallel duplicates one is done",
    "api/web/clock.py": "one call of the system's clock",
    "api/web/named_persons.py": "tests/api/resources/test_persons.py names persons by id",
    "api/web/pictures.py": "tests/api/resources/test_decisions.py asks for pictures",
}


def modules() -> list[str]:
    found = [*(ROOT / "api").rglob("*.py"), *(ROOT / "graph").rglob("*.py")]
    names = [path.relative_to(ROOT).as_posix() for path in found if path.name != "__init__.py"]
    return sorted(name for name in names if "/migrations/" not in name)


# A use case that bears the word of a resource is tested with it.
RESOURCES = {path.name for path in (ROOT / "api" / "resources").glob("[a-z]*.py")}


@pytest.mark.parametrize("word", sorted(RESOURCES))
def test_the_word_of_a_resource_is_in_one_room_at_most(word):
    assert len(list(SERVICES.glob(f"*/{word}"))) <= 1


@pytest.mark.parametrize("word", sorted(RESOURCES - {"access.py", "health.py", "metrics.py"}))
def test_a_resource_with_a_use_case_finds_it_under_its_word(word):
    # Ready components are one answer of the budgets.
    assert word == "uncertainty_components.py" or list(SERVICES.glob(f"*/{word}"))


def test_every_service_is_in_a_room():
    assert [path.name for path in SERVICES.glob("*.py")] == ["__init__.py"]
    rooms = {path.name for path in SERVICES.iterdir() if path.is_dir() and path.name[0] != "_"}
    assert rooms == set(ROOMS)


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_has_no_rooms_of_its_own(room):
    # Neither contracts of imports nor the tests of this file would look into them.
    within = [path for path in (SERVICES / room).iterdir() if path.name != "__pycache__"]
    assert [path.name for path in within if path.is_dir() or path.suffix != ".py"] in (
        [],
        ["README.md"],
    )


@pytest.mark.parametrize("room", ROOMS)
def test_a_room_says_what_it_is_for_and_imports_nothing(room):
    # First answers of a new process must stay fast.
    body = ast.parse((SERVICES / room / "__init__.py").read_text("utf-8")).body
    assert len(body) == 1
    assert isinstance(body[0], ast.Expr)


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
    places = [ROOT / "tests" / folder]
    if folder.startswith("api/services/") and file in RESOURCES:
        places.append(ROOT / "tests" / "api" / "resources")
    assert name in ELSEWHERE or any((place / f"test_{file}").exists() for place in places)


@pytest.mark.parametrize("name", modules())
def test_a_module_can_be_read_in_one_sitting(name):
    text = (ROOT / name).read_text("utf-8")
    lines = len(text.splitlines()) - lines_of_docstrings(text)
    most = 400 if name in LONGER else MOST_LINES
    assert lines <= most or name == "api/store/tables.py", f"{name} has {lines} lines"


@pytest.mark.parametrize("name", ELSEWHERE)
def test_an_exception_is_still_one(name):
    assert (ROOT / name).exists()
    instead = ELSEWHERE[name].split()[0].rstrip(":")
    assert not instead.startswith("tests/") or (ROOT / instead).exists()


def test_no_folder_of_tests_is_a_package():
    # With one, two test modules of the same name would hide each other.
    assert list((ROOT / "tests").rglob("__init__.py")) == []
