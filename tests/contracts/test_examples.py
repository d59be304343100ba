"""The examples in docstrings are run: what they show is what comes out."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
WITH_EXAMPLES = sorted(
    path.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".").removesuffix(".__init__")
    for folder in ("api", "graph")
    for path in (ROOT / folder).rglob("*.py")
    if ">>> " in path.read_text("utf-8") and "migrations" not in path.parts
)


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_the_examples_of_a_module_show_what_comes_out(name):
    found = doctest.testmod(importlib.import_module(name))
    assert found.attempted
    assert found.failed == 0
