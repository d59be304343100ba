"""What hangs together in a planned set-up, at the instant of the load."""

from __future__ import annotations

from fractions import Fraction

import pytest

from api.errors import InvalidRecord, UnknownReference
from api.services.records import requirements
from api.services.setups.setups import gather

AT = "2025-06-01T12:00:00Z"
REQUEST = {
    "instrument": "TL-1",
    "at": AT,
    "machine": "FM-1",
    "references": [{"item": "REF"}],
    "readouts": ["RDO"],
    "fittings": [{"item": "TOP", "position": "top"}, {"item": "BOT", "position": "bottom"}],
    "planned_points": ["50 kN", "20 kip", "88 kN"],
}


def gathered(session, **changes):
    sent = {name: part for name, part in {**REQUEST, **changes}.items() if part is not None}
    return gather(session, sent, 0)


def test_the_parts_of_an_assembly_stand_where_it_stands(laboratory):
    setup = gathered(laboratory)
    assert [(one.code, one.place, one.fitting) for one in setup.pieces] == [
        ("TOP", "top", "TOP"),
        ("BOT", "bottom", "BOT"),
        ("P-TOP", "top", "TOP"),
        ("P-BOT", "bottom", "BOT"),
    ]
    assert [one.code for one in setup.everything] == [
        *("TL-1", "FM-1", "REF", "RDO"),
        *("TOP", "BOT", "P-TOP", "P-BOT"),
    ]


@pytest.mark.parametrize(
    ("at", "held"),
    [
        ("2024-12-31T23:59:59Z", []),
        ("2025-01-01T00:00:00Z", ["P-TOP", "P-BOT"]),
        ("2025-06-30T23:59:59Z", ["P-TOP", "P-BOT"]),
        ("2025-07-01T00:00:00Z", ["P-TOP"]),  # until is exclusive
        ("2025-01-01", ["P-TOP", "P-BOT"]),  # a bare date may be any instant of its day
        ("2024-12-31", []),
    ],
)
def test_only_what_an_assembly_holds_at_that_instant_is_in_it(laboratory, at, held):
    setup = gathered(laboratory, at=at)
    assert [one.code for one in setup.pieces][2:] == held


def test_the_highest_force_is_found_across_units_and_kept_as_written(laboratory):
    # 20 kip = 88.964432305210 kN, just above 88 kN
    assert gathered(laboratory).highest == ("20 kip", Fraction("88964.43230521"))
    assert gathered(laboratory, planned_points=None).highest is None


def test_the_instrument_brings_its_type_and_capacity_and_owner(laboratory):
    setup = gathered(laboratory)
    assert (setup.type, setup.capacity, setup.owner) == ("tension_link", "20 kip", "Quill Hire")
    assert setup.name == "TL-1"
    mere = gathered(laboratory, instrument=None, type="crane_scale", capacity="5 tf")
    assert (mere.type, mere.capacity, mere.owner) == ("crane_scale", "5 tf", None)
    assert mere.name == "a crane_scale"


def test_without_an_instant_it_is_now(laboratory):
    setup = gather(laboratory, {"instrument": "TL-1"}, 86_400_000_000)
    assert setup.at_text.startswith("1970-01-02T00:00:00")
    assert setup.at.start_us == setup.at.end_us == 86_400_000_000


def test_an_item_that_stands_in_two_places_is_refused_at_the_second(laboratory):
    with pytest.raises(InvalidRecord, match="stand twice") as found:
        gathered(laboratory, machine="TOP", readouts=["RDO", "TL-1"])
    assert [(issue.pointer, issue.value) for issue in found.value.issues] == [
        ("/fittings/0/item", "TOP"),
        ("/readouts/1", "TL-1"),
    ]


def test_every_item_that_is_not_recorded_is_named(laboratory):
    with pytest.raises(UnknownReference) as found:
        gathered(laboratory, machine="GHOST", references=[{"item": "REF"}, {"item": "X"}])
    assert [(issue.pointer, issue.value) for issue in found.value.issues] == [
        ("/machine", "GHOST"),
        ("/references/1/item", "X"),
    ]
    assert all(issue.remedy for issue in found.value.issues)


def test_the_requirement_that_fits_best_counts_unless_one_is_named(laboratory):
    def require(code, **applies_to):
        sent = {"id": code, "applies_to": applies_to, "source": "ours", "pin": {"diameter": "2 in"}}
        requirements.record(laboratory, sent, 0)

    bare = gathered(laboratory)
    assert (bare.requirement, bare.required, bare.required_by) == (None, {}, "")
    require("ANY", type="tension_link")
    require("SIZE", type="tension_link", capacity="20000 lbf")  # 20 kip in another unit
    require("OTHER", type="tension_link", capacity="25 kip")
    setup = gathered(laboratory)
    assert setup.required_by == "requirement SIZE version 1"
    require("OWN", item="TL-1")
    assert gathered(laboratory).required["id"] == "OWN"
    assert gathered(laboratory, requirement="ANY").required["id"] == "ANY"
    with pytest.raises(UnknownReference, match='"NONE"') as found:
        gathered(laboratory, requirement="NONE")
    assert found.value.issues[0].pointer == "/requirement"


def test_a_part_is_a_pin_or_shackle_by_its_type_or_what_it_states(piece):
    assert piece("A", type="pin").is_pin
    assert not piece("A", pin_diameter="2 in").is_pin
    assert piece("A", type="shackle").is_shackle
    assert piece("A", shackle_style="bow").is_shackle
    assert not piece("A", type="pin").is_shackle
    assert piece("A").stated("anything") is None
