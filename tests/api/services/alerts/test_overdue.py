"""Uses after the value in force was due: of the item itself, or of the parts that carry it."""

from __future__ import annotations

from oracle_cases import cal, part, ref

from tests.api.services.alerts.alert_laboratory import BY


def test_a_bare_due_date_lasts_to_the_end_of_its_day_in_the_laboratory(laboratory):
    # In Vienna 1 March ends at 23:00Z (UTC + 1 in winter).
    laboratory.brings(
        cal("C-1", "I-1", "2025-03-01T22:59:59Z", [ref("STD")]),
        cal("C-2", "I-2", "2025-03-01T23:00:00Z", [ref("STD")]),
        time_zone="Europe/Vienna",
    )
    assert [one["certificate"] for one in laboratory.alert()["used_by"]] == ["C-2"]


def test_a_later_value_ends_what_is_due_and_a_confirmation_of_limits_does_not(laboratory):
    """As `grounds` has it: C-1 rests on the value S-1, whatever S-2 confirmed since.

    The other way round C-3 rests on S-3, which states no date, though S-4 was due before it.
    """
    laboratory.brings(
        cal("S-2", "STD", "03-04", [], assigns_value=False, due_at="2025-03-20"),
        cal("C-1", "I-1", "03-10", [ref("STD")]),
        cal("S-3", "STD", "03-25", []),
        cal("C-2", "I-2", "04-10", [ref("STD")]),
        cal("S-4", "STD", "04-20", [], assigns_value=False, due_at="2025-04-25"),
        cal("C-3", "I-3", "05-10", [ref("STD")]),
    )
    assert [one for _, one in laboratory.open()] == [
        "STD was used once after certificate S-1 was due (2025-03-01)"
    ]
    kept = [laboratory.read(f"certificates/C-{n}/grounds")["grounds"] for n in (1, 2, 3)]
    codes = [[one["code"] for one in some if one["code"] == "overdue"] for some in kept]
    assert codes == [["overdue"], [], []]


def test_a_confirmation_does_not_extend_the_date_of_a_part(laboratory):
    laboratory.brings(
        cal("S-2", "STD", "03-04", [], assigns_value=False, due_at="2025-03-20"),
        cal("R-0", "RIG", "03-05", [], assigns_value=False, due_at="2025-03-20"),
        cal("C-1", "I-1", "03-10", [ref("RIG")]),
        composition=[part("RIG", "STD")],
        kinds={"RIG": "force_machine"},
    )
    assert [one["item"] for one in laboratory.alerts(state="open")] == ["STD"]


def test_a_part_carries_the_value_of_an_assembly_that_has_none(laboratory):
    laboratory.brings(
        cal("C-1", "I-1", "03-10", [ref("RIG")]),
        composition=[part("RIG", "STD")],
        kinds={"RIG": "force_machine"},
    )
    assert [one["item"] for one in laboratory.alerts(state="open")] == ["STD"]
    # A value of its own takes the place of that of its parts.
    laboratory.records("R-1", "RIG", "03-01", [])
    assert laboratory.open() == []


def test_the_part_that_was_not_held_then_was_not_used(laboratory):
    laboratory.brings(
        cal("C-1", "I-1", "03-10", [ref("RIG")]),
        composition=[part("RIG", "STD")],
        kinds={"RIG": "force_machine"},
    )
    key = laboratory.read("compositions?assembly=RIG")["items"][0]["id"]
    sent = {"from": "2025-03-11T00:00:00Z", "reason": "the other rig"} | BY
    laboratory.send(f"compositions/{key}/corrections", sent)
    assert laboratory.open() == []


def test_a_use_in_a_certificate_that_is_voided_is_none(laboratory):
    laboratory.brings(cal("C-1", "I-1", "03-10", [ref("STD")]))
    laboratory.send("certificates/C-1/void", {"reason": "wrong sheet"}, 200)
    assert laboratory.open() == []
