"""Reason paths as sentences."""

from __future__ import annotations

import pytest

from graph.explanation import sentence
from graph.traces import Trace

REF = {"item": "REF-500A", "kind": "true_force_relative_error"}
PIN = {"item": "PIN", "kind": "unknown"}
IND = {"item": "IND", "channel": "A", "kind": "readout_gain"}
MP = {"method": "MP-12 v3", "kind": "unknown"}
EXT = {"certificate": "EXT/7", "kind": "unknown"}
CF = {"item": "CF", "kind": "wrong_correction_factor"}
W_1, W_2, C_1 = ("W-1", "WS-101"), ("W-2", "FM-1"), ("C-1", "I-1")


def trace(concerns, start, fault, steps, through=(), role=None, within=None):
    return Trace(concerns, start, fault, through, role, steps, within or ((),) * len(steps))


@pytest.mark.parametrize(
    ("of", "told"),
    [
        (("item", "REF-500A", REF, (("W-1", None),)), "W-1 used the faulty REF-500A."),
        (
            ("item", "REF-500A", REF, (W_1, W_2, ("C-303", None))),
            "C-303 used FM-1, which had been calibrated (W-2) with WS-101, "
            "which had been calibrated (W-1) with the faulty REF-500A.",
        ),
        (
            ("item", "PIN", PIN, (("C-1", None),), ("CLV", "SET")),
            "C-1 used SET, which then held CLV, which held the faulty PIN.",
        ),
        (
            ("item", "PIN", PIN, (C_1, ("E", None)), ("ADP",)),
            "E used I-1, which had been calibrated (C-1) with ADP, which then held the faulty PIN.",
        ),
        (
            ("item", "REF-500A", REF, (W_1, ("K", None)), (), None, (("RIG",), ())),
            "K used RIG, which then held WS-101, which had been calibrated (W-1) "
            "with the faulty REF-500A.",
        ),
        (
            ("channel", "IND:A", IND, (("C-1", None),), (), "readout_dut"),
            "C-1 used the faulty channel A of IND in the role readout_dut.",
        ),
        (
            ("method", "method:MP-12 v3", MP, (("C-1", None),)),
            "C-1 was made by the faulty method MP-12 v3.",
        ),
        (
            ("method", "method:MP-12 v3", MP, (C_1, ("E", None))),
            "E used I-1, which had been calibrated (C-1) by the faulty method MP-12 v3.",
        ),
        (
            ("certificate", "EXT/7", EXT, (("C-1", None),), ("WS-9",)),
            "C-1 used WS-9 at the values of the wrong certificate EXT/7.",
        ),
        (
            ("certificate", "EXT/7", EXT, (("C-1", None),), ("WS-9", "RIG")),
            "C-1 used RIG, which then held WS-9 at the values of the wrong certificate EXT/7.",
        ),
        (
            ("item", "CF", CF, (("C-1", None),)),
            "C-1 used CF, for which a wrong correction factor was on file.",
        ),
        (
            ("item", "REF", {"item": "REF", "kind": "wrong_curve"}, (("C-1", None),)),
            "C-1 used REF, whose force was had from a wrong curve.",
        ),
    ],
)
def test_a_path_reads_from_the_certificate_back_to_the_fault(of, told):
    assert sentence(trace(*of)) == told
