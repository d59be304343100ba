"""Names of a package are imported when asked for, whatever was imported before."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import api.rules

ROOT = Path(__file__).parents[3]


def says(code: str) -> str:
    """What a fresh interpreter prints."""
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return done.stdout.strip()


@pytest.mark.parametrize("first", ["", "import api.rules.decide; ", "import api.rules.vector; "])
def test_a_function_is_not_hidden_by_the_module_of_its_name(first):
    code = f"{first}from api.rules import decide, acceptance; print(callable(decide), acceptance)"
    assert says(code).startswith("True <function acceptance")


def test_a_name_is_imported_alone():
    code = "import sys; from api.rules import Limits; print('api.rules.decide' in sys.modules)"
    assert says(code) == "False"


def test_an_unknown_name_is_refused_like_in_any_module():
    with pytest.raises(AttributeError, match=r"^module 'api.rules' has no attribute 'decice'$"):
        _ = api.rules.decice
