"""Reason paths in words, and texts that no spreadsheet takes for a formula."""

from __future__ import annotations

import pytest

from api.services.evidence.exports import path_in_words

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
    assert path_in_words(path, ASSEMBLIES, {"W-1"} if path[0] == "W-1" else ()) == words
