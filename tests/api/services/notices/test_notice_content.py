"""What stands in a notice: one customer's certificates before and after, and no word of another's.

Confidentiality: ISO/IEC 17025:2017, 4.2 (from memory).
"""

from __future__ import annotations

import json
from zoneinfo import ZoneInfo

import pytest
from oracle_cases import OPEN, cal, force_fault, lab, percent, ref, row
from sqlalchemy import select

from api.pages import notice_text
from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.casework import cases, dispositions
from api.services.imports.imports import import_laboratory
from api.services.notices import notice_content
from api.services.recalls import recalls, run
from api.store.record_changes import position
from api.store.tables import Certificate

NOW = 1_893_456_000_000_000  # 2030


class Content:
    """A stored recall, and the certificates that a notice would speak of."""

    def __init__(self, session, recall):
        self.session, self.recall = session, recalls.get(session, recall)

    def subjects(self, *numbers):
        statement = select(Certificate.id).where(Certificate.number.in_(numbers))
        keys = list(self.session.scalars(statement))
        decided = dispositions.current(self.session, self.recall.id, keys)
        return notice_content.subjects(self.session, self.recall.id, keys, decided)

    def of(self, *numbers):
        chosen = self.subjects(*numbers)
        return notice_content.certificates(self.session, self.recall.id, chosen)

    def decide(self, number, action, **more):
        case = cases.get(self.session, self.recall.id)
        command = {"certificates": [{"certificate": number}], "action": action, "by": "M. Tarn"}
        command |= {"justification": "as the other customer wrote"} | more
        dispositions.record(self.session, case, command, NOW)


@pytest.fixture
def content(database):
    """Record calibrations, report a fault of REF (0.0005 unless told otherwise)."""
    with database.write() as session:

        def made(*calibrations, fault=None, items=()):
            laboratory = lab(*calibrations)
            named = {one["id"] for one in items}
            kept = [one for one in laboratory["items"] if one["id"] not in named]
            laboratory["items"] = [*kept, *items]
            import_laboratory(session, LaboratorySchema().load(laboratory), 0)
            faults = fault if isinstance(fault, list) else [fault or force_fault()]
            request = RecallRequestSchema().load({"faults": faults})
            answer = run.recall(session, request, NOW)
            return Content(
                session, recalls.store(session, answer, None, NOW, position(session))["id"]
            )

        yield made


def test_a_point_is_told_before_and_after_in_the_unit_and_digits_of_the_certificate(content):
    made = content(cal("C-1", "A", "02-01", [ref("REF")], [
        row("10.0", "-0.0040", indicated="9.9960", U="0.0020")
    ]))  # fmt: skip
    (one,) = made.of("C-1")
    (point,) = one["points"]
    # 0.0005 x 10 kN = 0.005 less; accepted to -(0.01 - 0.002) = -0.008, and -0.009 is outside.
    assert (point["applied"], point["indicated"], point["reported_error"], point["U"]) == (
        *("10.0", "9.9960", "-0.0040", "0.0020"),
    )
    assert point["corrected_error"] == "-0.009"
    assert point["limits"] == {"lower": "-0.01", "upper": "0.01"}
    assert point["rule"] == "guard_U, version 1: guard band w = U"
    assert (point["verdict_before"], point["verdict_after"], point["changed"]) == (
        *("pass", "fail", True),
    )


def test_a_verdict_that_its_own_rule_had_refused_is_told_with_that_of_the_rule(content):
    # 0.02 > 0.008 failed before the fault, whatever was reported.
    made = content(
        cal("C-1", "A", "02-01", [ref("REF")], [row("10", "0.02", verdict_reported="pass")])
    )
    (point,) = made.of("C-1")[0]["points"]
    assert (point["verdict_before"], point["decided_before"]) == ("pass", "fail")
    assert notice_text.verdict_before(point) == "pass (its rule gave fail)"
    del point["decided_before"]
    assert notice_text.verdict_before(point) == "pass"


def test_an_error_that_was_not_recorded_is_the_indication_less_the_applied_force(content):
    # 10.004 - 10 = 0.004; 0.004 - 0.005 = -0.001
    made = content(cal("C-1", "A", "02-01", [ref("REF")], [
        {"point": 1, "unit": "kN", "applied": "10", "indicated": "10.004", "U": "0.002"}
    ]))  # fmt: skip
    (point,) = made.of("C-1")[0]["points"]
    assert (point["reported_error"], point["corrected_error"]) == ("0.004", "-0.001")


def test_a_corrected_error_ends_at_the_place_of_its_uncertainty(content):
    # 0.00051 x 10 = 0.0051 off 0: to the thousandths of U 0.002 that is -0.005. In percent of the
    # true force 100 x (1.0002/1.00051 - 1) = -0.0309841981, to the hundredths of U 0.02.
    results = [row("10", "0"), percent("0.02", point=2, applied="20", unit="kN")]
    made = content(cal("C-1", "A", "02-01", [ref("REF")], results), fault=force_fault(
        delta="0.00051"))  # fmt: skip
    absolute, relative = made.of("C-1")[0]["points"]
    assert (absolute["corrected_error"], absolute["corrected_error_rounded"]) == (
        *("-0.0051", "-0.005"),
    )
    assert (relative["unit"], relative["U_unit"]) == ("%", "%")
    assert relative["corrected_error"].startswith("-0.0309841980")
    assert relative["corrected_error_rounded"] == "-0.03"


def test_nothing_of_another_customer_or_of_the_way_there_gets_out(content):
    made = content(
        cal("W-1", "DYN-77", "01-10", [ref("REF")], customer="Mine Works"),
        cal("C-1", "A", "02-01", [ref("DYN-77", note="borrowed")], customer="Alder Rigging"),
        cal("C-2", "B", "02-02", [ref("REF")], customer="Mine Works"),
        fault=[force_fault(), {"item": "DYN-77", "kind": "unknown", "meaning": "fell at Mine Works"}
               | OPEN],
        items=[{"id": "DYN-77", "kind": "customer_instrument"}],
    )  # fmt: skip
    made.decide("C-1", "withdraw")
    told = json.dumps([made.of("C-1"), notice_content.faults(made.session, made.recall)])
    for secret in ("DYN-77", "Mine Works", "C-2", "W-1", "borrowed", "as the other customer wrote"):
        assert secret not in told
    assert "REF" in told


def test_the_action_that_was_decided_last_is_the_one_that_is_told(content):
    made = content(cal("C-1", "A", "02-01", [ref("REF")]))
    assert made.of("C-1")[0]["action"]["action"] is None
    made.decide("C-1", "withdraw")
    made.decide("C-1", "reissue")
    told = made.of("C-1")[0]["action"]
    assert told["action"] == "reissue"
    assert "amended certificate" in told["words"]


def test_no_action_for_a_certificate_that_fails_says_why_and_not_that_all_is_well(content):
    # -0.004 - 0.0005 x 10 = -0.009, accepted to 0.01 - U = 0.008: it fails.
    made = content(cal("C-1", "A", "02-01", [ref("REF")], [row("10", "-0.004")]))
    made.decide("C-1", "no_action", reason_for_customer="You scrapped the item in May.")
    (one,) = made.of("C-1")
    assert one["points"][0]["verdict_after"] == "fail"
    assert one["action"]["reason"] == "You scrapped the item in May."
    assert "no need" not in one["action"]["words"]
    assert one["action"]["words"].endswith("Our reason: You scrapped the item in May.")
    assert "as the other customer wrote" not in json.dumps(one)


@pytest.mark.parametrize("action", ["reissue", "recalibrate_free", "no_action"])
@pytest.mark.parametrize(
    "fault",
    [{"kind": "unknown"}, {"kind": "interval", "bound_rel": "0.0001"}],
    ids=["unknown", "bounds"],
)
def test_of_an_effect_that_is_not_known_no_corrected_value_is_promised(content, fault, action):
    made = content(cal("C-1", "A", "02-01", [ref("REF")]), fault={"item": "REF"} | OPEN | fault)
    made.decide("C-1", action)
    words = made.of("C-1")[0]["action"]["words"]
    assert "corrected values" not in words
    assert "no need" not in words
    assert "values given" not in words


def test_certificates_stand_in_order_of_time_whatever_was_asked_first(content):
    made = content(cal("C-2", "A", "02-01", [ref("REF")]), cal("C-1", "B", "03-01", [ref("REF")]))
    assert [one["certificate"] for one in made.of("C-1", "C-2")] == ["C-2", "C-1"]
    assert made.subjects() == []


def test_an_item_is_described_by_what_tells_it_apart_and_nothing_else(content):
    made = content(cal("C-1", "A", "02-01", [ref("REF")]), items=[
        {"id": "A", "kind": "customer_instrument", "type": "dynamometer", "capacity": "50 kN",
         "properties": {"serial": "123", "maker": "Forge", "price": "9"}}
    ])  # fmt: skip
    assert made.of("C-1")[0]["item"] == {
        "id": "A", "type": "dynamometer", "capacity": "50 kN", "serial": "123", "maker": "Forge"
    }  # fmt: skip


LEFT = [row("10", "0", stage="as_found"), row("10", "0", point=2, stage="as_left")]


@pytest.mark.parametrize(
    ("later", "answer", "said"),
    [
        ([], "yes", "adjusted"),
        ([cal("G-1", "A", "2026-02-01", [], customer="Alder Rigging")], "no", "G-1"),
        # Somebody else's certificate is not named, and one that this fault reaches is no way out.
        ([cal("G-1", "A", "2026-02-01", [], customer="Mine Works")], "no", "by us"),
        ([cal("G-1", "A", "02-15", [ref("REF")], customer="Alder Rigging")], "yes", "adjusted"),
        ([cal("G-1", "A", "2026-02-01", [], status="voided")], "yes", "adjusted"),
    ],
)
def test_whether_the_item_may_read_wrong_now_depends_on_what_came_after(
    content, later, answer, said
):
    first = cal("C-1", "A", "02-01", [ref("REF")], LEFT, adjusted=True, customer="Alder Rigging")
    found = content(first, *later).of("C-1")[0]["may_read_wrong_now"]
    assert found["answer"] == answer
    assert said in found["words"]
    assert "Mine Works" not in found["words"]


def test_an_effect_that_nobody_knows_leaves_it_open(content):
    unknown = {"item": "REF", "kind": "unknown"} | OPEN
    made = content(cal("C-1", "A", "02-01", [ref("REF")], LEFT), fault=unknown)
    (one,) = made.of("C-1")
    assert (one["class"], one["may_read_wrong_now"]["answer"]) == ("indeterminate", "unknown")
    assert all(point["corrected_error"] is None for point in one["points"])


def test_periods_that_are_the_same_are_told_once_in_the_laboratorys_zone(content):
    two = [force_fault(), force_fault("WS"), force_fault("WS", last_good_at=None, isolated_at=None)]
    made = content(cal("C-1", "A", "02-01", [ref("REF"), ref("WS")]), fault=two)
    # Winter in Vienna is an hour ahead of UTC.
    assert notice_content.periods(made.recall, ZoneInfo("Europe/Vienna")) == [
        "from 2025-01-01 01:00 UTC+01:00 to 2025-12-31 01:00 UTC+01:00",
        "from an unknown time to now",
    ]
