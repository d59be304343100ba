"""Reason paths in words, from the fault onwards."""

from __future__ import annotations

import pytest

from api.services.evidence.exports import path_in_words
from graph.traces import Trace

FAULT = {"item": "REF", "kind": "unknown"}
W_1, LAST = ("W-1", "WS"), ("F-1", None)


@pytest.mark.parametrize(
    ("concerns", "start", "through", "role", "steps", "within", "words"),
    [
        ("item", "REF", (), None, (LAST,), ((),), "REF was used for F-1"),
        (
            *("item", "REF", (), None, (W_1, LAST), ((), ())),
            "REF was used for W-1, which calibrated WS, which was used for F-1",
        ),
        ("item", "PIN", ("CLV-7",), None, (LAST,), ((),), "PIN in CLV-7 was used for F-1"),
        (
            *("item", "PIN", ("CLV-7", "RIG-1"), None, (LAST,), ((),)),
            "PIN in CLV-7 in RIG-1 was used for F-1",
        ),
        (
            *("item", "PIN", ("CLV-7",), None, (("W-1", "RIG-1"), LAST), ((), ())),
            "PIN in CLV-7 was used for W-1, which calibrated RIG-1, which was used for F-1",
        ),
        (
            *("item", "REF", (), None, (W_1, LAST), (("RIG-1",), ())),
            "REF was used for W-1, which calibrated WS in RIG-1, which was used for F-1",
        ),
        ("item", "W:202", (), None, (LAST,), ((),), "W:202 was used for F-1"),
        (
            *("channel", "IND:A", (), "readout_dut", (LAST,), ((),)),
            "IND:A as readout_dut was used for F-1",
        ),
        (
            *("channel", "IND:A", (), "readout_dut", (W_1, LAST), ((), ())),
            "IND:A as readout_dut was used for W-1, which calibrated WS, which was used for F-1",
        ),
        ("method", "method:MP", (), None, (LAST,), ((),), "method:MP was used for F-1"),
        (
            *("certificate", "W-1", ("WS",), None, (LAST,), ((),)),
            "W-1, which calibrated WS, which was used for F-1",
        ),
        (
            *("certificate", "W-1", ("WS", "RIG-1"), None, (LAST,), ((),)),
            "W-1, which calibrated WS in RIG-1, which was used for F-1",
        ),
    ],
)
def test_a_path_reads_as_a_sentence(concerns, start, through, role, steps, within, words):
    assert path_in_words(Trace(concerns, start, FAULT, through, role, steps, within)) == words
