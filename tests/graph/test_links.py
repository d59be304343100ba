"""What a use and the beginning of a path say, as they are kept on a link."""

from __future__ import annotations

import pytest
from graph_records import DAY, use, whole

from graph.links import is_channel, recorded


def test_a_use_is_told_with_its_instant_and_weight():
    told = recorded(use("REF", day=3, weight="0.250"))
    assert told == {"role": "force_reference", "at_us": 3 * DAY, "weight": "0.25"}


def test_a_bare_date_has_an_end_and_a_channel_is_told():
    told = recorded(use("IND", when=whole(3), channel="A", role="readout_dut"))
    assert (told["at_us"], told["end_us"]) == (3 * DAY, 4 * DAY - 1)
    assert (told["role"], told["channel"], told["weight"]) == ("readout_dut", "A", "1")


def test_weights_by_point_are_told_by_point():
    assert recorded(use(weight={"1": 1, "2": 0}))["weight"] == {"1": "1", "2": "0"}


@pytest.mark.parametrize(
    ("names", "fault", "is_one"),
    [
        (("IND:A", "readout_dut"), {"item": "IND", "channel": "A"}, True),
        (("IND:A",), {"item": "IND", "channel": "A"}, True),
        # A part whose id holds a colon, and a channel that is met as a part of a rig.
        (("IND:A", "RIG"), {"item": "IND:A"}, False),
        (("IND", "RIG"), {"item": "IND", "channel": "A"}, False),
        (("method:M",), {"method": "M"}, False),
    ],
)
def test_a_channel_is_told_by_the_fault_and_not_by_a_colon(names, fault, is_one):
    assert is_channel(names, fault) is is_one
