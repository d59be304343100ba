"""Is every part strong enough? Compared in newton, whatever unit each capacity was written in.

1 kip = 4.4482216152605 kN (NIST SP 811:2008, appendix B, from memory).
"""

from __future__ import annotations

import pytest

from api.services.setups.capacity import capacity_findings


def found(setup):
    return [(one["outcome"], one["about"]) for one in capacity_findings(setup)]


def test_the_weakest_part_is_named_even_if_it_is_strong_enough(setup_of, piece):
    pieces = [piece("A", capacity="100 kN"), piece("B", capacity="20.5 kip")]
    (weakest,) = capacity_findings(setup_of(*pieces, planned=["20 kip"]))
    assert (weakest["outcome"], weakest["about"]) == ("agrees", ["TL-1"])
    assert "is the weakest rated part" in weakest["sentence"]
    # rated for exactly what is planned
    assert weakest["off_by"] == {"absolute": "0 kip", "relative": "0"}


def test_every_part_that_is_too_weak_is_named_the_weakest_first(setup_of, piece):
    # 20 kip = 88.96... kN: 80 and 88 kN are too weak, 89 kN is not
    pieces = [
        piece("C", capacity="89 kN"),
        piece("B", capacity="88 kN", place="top"),
        piece("A", capacity="80 kN"),
    ]
    first, second = capacity_findings(setup_of(*pieces, planned=["5 kip", "20 kip"]))
    assert [(one["outcome"], one["about"]) for one in (first, second)] == [
        ("differs", ["A"]),
        ("differs", ["B"]),
    ]
    assert "is too weak as well" in second["sentence"]
    assert (second["position"], second["required"], second["found"]) == ("top", "20 kip", "88 kN")
    # 88/4.4482216152605 - 20 = -0.21681...
    assert float(second["off_by"]["absolute"].split()[0]) == pytest.approx(
        88 / 4.4482216152605 - 20
    )
    assert second["off_by"]["absolute"].endswith(" kip")


def test_a_reference_is_asked_for_its_share_of_the_force(setup_of, piece):
    # Three cells of 35 kN that carry 0.4, 0.3 and 0.3 of 100 kN: 40, 30 and 30 kN
    cells = [
        piece(f"R-{place}", capacity="35 kN", weight=weight)
        for place, weight in enumerate(("0.4", "0.3", "0.3"))
    ]
    machine = piece("FM-1", capacity="300 kN")
    own = {"instrument": None, "capacity": None}
    (one,) = capacity_findings(
        setup_of(planned=["100 kN"], references=cells, machine=machine, **own)
    )
    assert (one["outcome"], one["about"]) == ("differs", ["R-0"])
    assert one["computed"] == {"share": "0.4"}
    # 35 / 0.4 = 87.5 kN of the whole force
    assert one["off_by"]["absolute"] == "-12.5 kN"


def test_the_property_rated_capacity_stands_before_the_capacity(setup_of, piece):
    one = piece("A", capacity="500 kN", rated_capacity="10 kN")
    assert found(setup_of(one, planned=["50 kN"])) == [("differs", ["A"])]


@pytest.mark.parametrize("capacity", [None, "big", "5 t", "5 kg", "-5 kN", "0 kN", "1e999999 kN"])
def test_a_part_whose_capacity_is_unknown_is_named_and_not_taken_to_be_strong(
    setup_of, piece, capacity
):
    given = {} if capacity is None else {"capacity": capacity}
    weakest, unknown = capacity_findings(setup_of(piece("A", **given), planned=["20 kip"]))
    assert weakest["about"] == ["TL-1"]
    assert (unknown["outcome"], unknown["about"]) == ("not_checked", ["A"])
    assert "capacity of A is not recorded, or cannot be read" in unknown["sentence"]


def test_readouts_carry_nothing_and_are_not_asked(setup_of, piece):
    assert found(setup_of(planned=["1 kN"], readouts=[piece("RDO")])) == [("agrees", ["TL-1"])]


def test_without_a_planned_force_nothing_is_compared(setup_of, piece):
    (one,) = capacity_findings(setup_of(piece("A", capacity="1 N")))
    assert (one["outcome"], one["missing"]) == ("not_checked", "planned_points in the request")


def test_a_type_of_instrument_without_an_item_is_asked_by_its_stated_capacity(setup_of):
    weak = setup_of(planned=["21 kip"], instrument=None)
    (one,) = capacity_findings(weak)
    assert (one["outcome"], one["about"], one["found"]) == ("differs", [], "20 kip")
    assert "position" not in one
    unknown = setup_of(planned=["21 kip"], instrument=None, capacity=None)
    (one,) = capacity_findings(unknown)
    assert (one["outcome"], one["about"]) == ("not_checked", [])
    assert "a tension_link" in one["sentence"]
