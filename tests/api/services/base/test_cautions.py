"""The caution names what injures and whom to ask, and is there before the application is."""

from __future__ import annotations

import subprocess
import sys

import pytest

from api.services.base.cautions import CAUTION, CAUTIONS


@pytest.mark.parametrize(
    "words",
    # Common practice of force laboratories, no source.
    [
        "injure",
        "rated capacity of the weakest part",
        "keep clear of the load line",
        "local codes",
        "competent, authorised person",
        "never says that a set-up is safe",
    ],
)
def test_the_caution_says_what_a_rigger_must_hear(words):
    assert words in CAUTION


def test_the_caution_in_one_line_has_every_sentence_in_order():
    places = [CAUTION.index(sentence) for sentence in CAUTIONS]
    assert places == sorted(places)
    assert "\n" not in CAUTION
    assert all(sentence.endswith(".") for sentence in CAUTIONS)


def test_a_command_can_show_it_without_loading_the_application():
    heavy = "{'flask', 'sqlalchemy', 'marshmallow', 'polars', 'numpy', 'matplotlib'}"
    program = f"import sys, api.services.base.cautions; print(sorted({heavy} & sys.modules.keys()))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert (done.stdout.strip(), done.stderr) == ("[]", "")
