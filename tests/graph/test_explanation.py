"""Reason paths as sentences."""

from __future__ import annotations

import pytest

from graph.affected import traced
from graph.explanation import sentence

REF = {"item": "REF-500A", "kind": "true_force_relative_error"}
ITEMS = {"W-1": {"WS-101"}, "W-2": {"FM-1"}, "C-1": {"I-1"}}


@pytest.mark.parametrize(
    ("fault", "path", "told"),
    [
        (REF, ["REF-500A", "W-1"], "W-1 used the faulty REF-500A."),
        (
            REF,
            ["REF-500A", "W-1", "WS-101", "W-2", "FM-1", "C-303"],
            "C-303 used FM-1, which had been calibrated (W-2) with WS-101, "
            "which had been calibrated (W-1) with the faulty REF-500A.",
        ),
        (
            {"item": "PIN", "kind": "unknown"},
            ["PIN", "CLV", "SET", "C-1"],
            "C-1 used SET, which then held CLV, which held the faulty PIN.",
        ),
        (
            {"item": "PIN", "kind": "unknown"},
            ["PIN", "ADP", "C-1", "I-1", "E"],
            "E used I-1, which had been calibrated (C-1) with ADP, which then held the faulty PIN.",
        ),
        (
            {"item": "IND", "channel": "A", "kind": "readout_gain"},
            ["IND:A", "readout_dut", "C-1"],
            "C-1 used the faulty channel A of IND in the role readout_dut.",
        ),
        (
            {"method": "MP-12 v3", "kind": "unknown"},
            ["method:MP-12 v3", "C-1"],
            "C-1 was made by the faulty method MP-12 v3.",
        ),
        (
            {"method": "MP-12 v3", "kind": "unknown"},
            ["method:MP-12 v3", "C-1", "I-1", "E"],
            "E used I-1, which had been calibrated (C-1) by the faulty method MP-12 v3.",
        ),
        (
            {"certificate": "EXT/7", "kind": "unknown"},
            ["EXT/7", "WS-9", "C-1"],
            "C-1 used WS-9 at the values of the wrong certificate EXT/7.",
        ),
        (
            {"item": "CF", "kind": "wrong_correction_factor"},
            ["CF", "C-1"],
            "C-1 used CF, for which a wrong correction factor was on file.",
        ),
    ],
)
def test_a_path_reads_from_the_certificate_back_to_the_fault(fault, path, told):
    assert sentence(traced(path, [fault], ITEMS)) == told
