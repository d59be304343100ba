"""Every file, folder and module that a document names is there.

``VERSION`` in a path stands for a name (``fixtures/schema/VERSION.db``), ``*`` for any part of it.
A bare name of a Python file lies beside a path that its paragraph names, or beside the document.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TOP = ("api", "graph", "tests", "fixtures", ".ci")
TOPS = "|".join(map(re.escape, TOP))
# Beginning at the top, wherever it stands; not the tail of an address of the API or of a longer
# path.
FROM_TOP = re.compile(rf"(?<![\w/.{{}}-])((?:{TOPS})/[\w.*/-]*[\w*/])")
DOTTED = re.compile(r"(?<![\w/.-])((?:api|graph|tests|fixtures)(?:\.\w+)+)(?![\w/])")
CODE = re.compile(r"`([^`\s]+)`")
LINK = re.compile(r"\]\(([^)#:\s]+)(?:#[^)]*)?\)")
FENCE = re.compile(r"^```.*?^```", re.DOTALL | re.MULTILINE)
DOCUMENTS = sorted(
    path.relative_to(ROOT).as_posix()
    for path in [*ROOT.glob("*.md"), *(one for top in TOP for one in (ROOT / top).rglob("*.md"))]
)


def exists(place: str, folder: Path) -> bool:
    pattern = place.replace("VERSION", "*")
    return any(folder.glob(pattern)) if "*" in pattern else (folder / place).exists()


def module_exists(dotted: str) -> bool:
    """Whether a dotted name is a module, or a name that its module speaks of."""
    *parents, last = dotted.split(".")
    path, parent = ROOT.joinpath(*parents, last), ROOT.joinpath(*parents)
    if path.is_dir() or path.with_suffix(".py").exists():
        return True
    home = parent / "__init__.py" if parent.is_dir() else parent.with_suffix(".py")
    return home.exists() and re.search(rf"\b{last}\b", home.read_text("utf-8")) is not None


def missing(text: str, document: str) -> list[str]:
    """What a text names that is not there."""
    here = (ROOT / document).parent
    gone = [name for name in FROM_TOP.findall(text) if not exists(name, ROOT)]
    gone += [name for name in LINK.findall(text) if not exists(name, here)]
    gone += [name for name in DOTTED.findall(text) if not module_exists(name)]
    for paragraph in re.split(r"\n\s*\n|\n(?=\|)", FENCE.sub("", text)):
        folders = [here, *((ROOT / name).parent for name in FROM_TOP.findall(paragraph))]
        for name in CODE.findall(paragraph):
            inside = name.partition("/")[0]
            bare = re.fullmatch(r"[\w*]+\.py", name) is not None
            below = inside not in ("", name, *TOP) and (here / inside).is_dir()
            if (bare or below) and not any(exists(name, folder) for folder in folders):
                gone.append(name)
    return gone


@pytest.mark.parametrize("document", DOCUMENTS)
def test_what_a_document_names_is_there(document: str) -> None:
    assert missing((ROOT / document).read_text("utf-8"), document) == []


@pytest.mark.parametrize(
    ("text", "gone"),
    [
        ("open `api/rules/no_such.py`", "api/rules/no_such.py"),
        ("`graph/recall.py`, `graph/no_such.py`, `graph/paths.py`", "graph/no_such.py"),
        ("sh: tracehold import fixtures/demo_lab/no_such.json", "fixtures/demo_lab/no_such.json"),
        ("any of `api/services/no_such/*.py`", "api/services/no_such/*.py"),
        ("`api/rules/decide.py`, `no_such.py`", "no_such.py"),
        ("`demo_lab/no_such.json`", "demo_lab/no_such.json"),
        ("see [the guide](no_such.md)", "no_such.md"),
        ("python -m tests.bench.no_such --rounds 5", "tests.bench.no_such"),
        ("call `api.rules.no_such`", "api.rules.no_such"),
    ],
)
def test_what_is_not_there_is_found(text: str, gone: str) -> None:
    assert missing(text, "fixtures/README.md") == [gone]


@pytest.mark.parametrize(
    "text",
    [
        "`api/rules/uncertainty/class_tables/*.json`, `fixtures/schema/VERSION.db`",
        "`graph/recall.py`, `paths.py`, and `api.rules.decide_frame` of `api/`",
        "`GET /v1/api/no_such.py`, https://example.org/tests/no_such.py",
    ],
)
def test_what_is_there_or_no_address_of_ours_is_left_alone(text: str) -> None:
    assert missing(text, "README.md") == []


def test_all_documents_are_looked_at() -> None:
    assert {"README.md", "DEVELOPERS.md", "api/OPERATING.md", "graph/README.md"} <= set(DOCUMENTS)


def test_the_guide_has_a_row_for_each_room_with_its_first_file() -> None:
    guide = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    rows = re.findall(
        r"^\| `(\w+)` \| [^|]+\?[^|]* \| `api/services/(\w+)/\w+\.py` \|$", guide, re.M
    )
    rooms = {path.parent.name for path in (ROOT / "api" / "services").glob("*/__init__.py")}
    assert {room for room, _ in rows} == rooms
    assert all(room == folder for room, folder in rows)
