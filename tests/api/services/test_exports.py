"""Reason paths in words, and texts that no spreadsheet takes for a formula."""

from __future__ import annotations

import pytest

from api.services.export_files import neutral
from api.services.exports import path_in_words

ASSEMBLIES = {"CLV-7", "RIG-1"}


@pytest.mark.parametrize(
    ("path", "words"),
    [
        (["REF", "F-1"], "REF was used for F-1"),
        (
            ["REF", "W-1", "WS", "F-1"],
            "REF was used for W-1, which calibrated WS, which was used for F-1",
        ),
        (["PIN", "CLV-7", "F-1"], "PIN in CLV-7 was used for F-1"),
        (["PIN", "CLV-7", "RIG-1", "F-1"], "PIN in CLV-7 in RIG-1 was used for F-1"),
        (
            ["PIN", "CLV-7", "W-1", "RIG-1", "F-1"],
            "PIN in CLV-7 was used for W-1, which calibrated RIG-1, which was used for F-1",
        ),
        (["IND:A", "readout_dut", "F-1"], "IND:A as readout_dut was used for F-1"),
        (
            ["IND:A", "readout_dut", "W-1", "WS", "F-1"],
            "IND:A as readout_dut was used for W-1, which calibrated WS, which was used for F-1",
        ),
        (["W-1", "WS", "F-1"], "W-1, which calibrated WS, which was used for F-1"),
        (["W-1"], "W-1"),
    ],
)
def test_a_path_reads_as_a_sentence(path, words):
    assert path_in_words(path, ASSEMBLIES) == words


@pytest.mark.parametrize("text", ["=1", "+1", "-1", "@x", "\t=1", "\r=1", "\n=1"])
def test_a_text_that_could_be_a_formula_gets_an_apostrophe(text):
    assert neutral(text) == f"'{text}"


@pytest.mark.parametrize("text", ["", "C-1", "[-0.1, 0.1]", " =1", "'=1"])
def test_other_texts_stay(text):
    assert neutral(text) == text
