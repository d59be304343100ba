"""The shelf for a required pin or shackle: the customer's own first, what is barred last, why."""

from __future__ import annotations

import pytest
from oracle_cases import force_fault

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.life import load_events
from api.services.recalls import recalls, run
from api.services.records import requirements
from api.services.setups.setups import gather
from api.services.setups.shelf import MOST, shelf
from api.store.record_changes import position

REQUEST = {"instrument": "TL-1", "at": "2025-06-01T12:00:00Z", "planned_points": ["20 kip"]}
TWO_INCH = {"diameter": "2 in", "tolerance_minus": "0.2 mm"}


def put(session, *items, **collections):
    sent = {"items": list(items), **collections}
    import_laboratory(session, LaboratorySchema().load(sent), 0)


def slots(session, request=REQUEST, **required):
    sent = {"id": "LINK", "applies_to": {"type": "tension_link"}, "source": "ours", **required}
    requirements.record(session, sent, 0)
    return shelf(session, gather(session, request, 0))


def choices(session, request=REQUEST, **required):
    (slot,) = slots(session, request, **(required or {"pin": TWO_INCH}))
    return slot["choices"]


def by_item(found):
    return {one["item"]: one for one in found}


def part(code, size="2 in", **more):
    properties = {"pin_diameter": size} if size is not None else {}
    made = {"id": code, "kind": "adapter_part", "type": "pin", "capacity": "100 kN"}
    return made | {"properties": properties} | more


def test_the_own_part_comes_first_then_the_same_size_then_the_nearest_then_what_is_barred(
    laboratory,
):
    put(laboratory, part("P-EXACT"))
    found = choices(laboratory)
    assert [(one["item"], one["choice"]) for one in found] == [
        ("P-OWN", "own"),
        ("P-BOT", "same"),  # 50.8 mm is 2 in
        ("P-EXACT", "same"),
        ("P-TOP", "nearest"),  # 0.8 mm off
        ("P-OLD", "barred"),
    ]
    assert (found[0]["owner"], found[0]["found"]) == ("Quill Hire", "2 in (50.8 mm)")
    assert found[1]["off_by"] == {"absolute": "0 mm", "relative": "0"}
    assert found[3]["warnings"][0] == "-0.8 mm off the required size"
    assert "reasons" not in found[3]


def test_a_choice_that_may_be_used_says_what_is_to_be_known_of_it(laboratory):
    put(laboratory, part("P-BARE", None, capacity="unknown"))
    found = by_item(choices(laboratory))
    assert found["P-BOT"]["warnings"] == ["450000 of 500000 load cycles are used"]
    assert found["P-OWN"]["warnings"] == ["its design life is not recorded"]
    assert found["P-BARE"]["warnings"] == [
        "its size is not recorded",
        "its design life is not recorded",
        "its rated capacity is not recorded",
    ]
    assert "found" not in found["P-BARE"]


def test_what_may_not_be_used_says_every_reason(laboratory):
    # 20 kip = 88.96... kN
    put(
        laboratory,
        part("P-WEAK", capacity="88 kN"),
        checks=[{"id": "K-9", "item": "P-WEAK", "at": "2025-05-01", "result": "fail"}],
    )
    event = {"id": "E-1", "item": "P-WEAK", "at": "2025-05-02", "kind": "fall", "person": "R. Fenn"}
    load_events.record(laboratory, event, 0)
    fault = force_fault("P-WEAK", isolated_at="2025-05-03T12:00:00Z")
    answer = run.recall(laboratory, RecallRequestSchema().load({"fault": fault}), 0)
    number = recalls.store(laboratory, answer, None, 0, position(laboratory))["number"]
    found = by_item(choices(laboratory))
    assert found["P-WEAK"]["reasons"] == [
        f"isolated by recall {number}",
        "not inspected since event E-1",
        "failed check K-9",
        "rated 88 kN, below the planned 20 kip",
    ]
    assert found["P-OLD"]["reasons"] == ["past its life: 500001 of 500000 load cycles"]
    assert {one["choice"] for one in (found["P-WEAK"], found["P-OLD"])} == {"barred"}


def test_reasons_are_those_of_the_instant_of_the_load(laboratory):
    put(
        laboratory,
        part("P-NEW"),
        checks=[{"id": "K-9", "item": "P-NEW", "at": "2025-06-02T10:00:00Z", "result": "fail"}],
    )
    assert by_item(choices(laboratory))["P-NEW"]["choice"] == "same"
    later = REQUEST | {"at": "2025-06-03T10:00:00Z"}
    assert by_item(choices(laboratory, later))["P-NEW"]["reasons"] == ["failed check K-9"]


def test_without_a_planned_force_no_part_is_too_weak(laboratory):
    put(laboratory, part("P-WEAK", capacity="1 kN"))
    without = {name: one for name, one in REQUEST.items() if name != "planned_points"}
    assert by_item(choices(laboratory, without))["P-WEAK"]["choice"] == "same"


def test_a_size_that_cannot_be_read_says_what_to_write(laboratory):
    put(laboratory, part("P-ODD", '2"'))
    odd = by_item(choices(laboratory))["P-ODD"]
    assert odd["choice"] == "nearest"
    assert "length" in odd["warnings"][0]


def test_shackles_are_chosen_by_style_and_size(laboratory):
    made = {"kind": "adapter", "type": "shackle", "capacity": "100 kN"}
    put(
        laboratory,
        {"id": "DEE", **made, "properties": {"shackle_style": "dee", "shackle_size": "1 1/2 in"}},
        {"id": "BOW", **made, "properties": {"shackle_style": "Bow", "shackle_size": "38.1 mm"}},
        {"id": "BARE", **made},
    )
    found = choices(laboratory, shackle={"style": "bow", "size": "1 1/2 in"})
    assert [(one["item"], one["choice"]) for one in found] == [
        ("BOW", "same"),
        ("DEE", "nearest"),
        ("BARE", "nearest"),
    ]
    assert found[1]["warnings"][-1] == "its style is dee"
    assert found[2]["warnings"][-1] == "its style is not recorded"


@pytest.mark.parametrize(
    ("required", "names"),
    [
        ({"orientation_kept": True}, []),
        ({"top_pin": TWO_INCH, "bottom_pin": TWO_INCH}, ["top_pin", "bottom_pin"]),
        ({"shackle": {"style": "bow"}, "pin": TWO_INCH}, ["pin", "shackle"]),
    ],
)
def test_there_is_a_shelf_for_each_pin_and_shackle_that_is_required(laboratory, required, names):
    found = slots(laboratory, **required)
    assert [slot["required_for"] for slot in found] == names
    assert all(slot["required"] == required[slot["required_for"]] for slot in found)


def test_the_best_twenty_are_shown_and_the_rest_counted(laboratory):
    put(laboratory, *[part(f"P-{place:02d}", f"{place + 60} mm") for place in range(MOST)])
    (slot,) = slots(laboratory, pin=TWO_INCH)
    # four pins besides
    assert (len(slot["choices"]), slot["left_off"]) == (MOST, 4)
    assert slot["choices"][0]["item"] == "P-OWN"
    nearest = [one["item"] for one in slot["choices"] if one["choice"] == "nearest"]
    assert nearest == ["P-TOP", *[f"P-{place:02d}" for place in range(MOST - 3)]]
