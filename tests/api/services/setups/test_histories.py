"""What the records say of the items in a set-up, up to the instant of the load and no further."""

from __future__ import annotations

import pytest
from oracle_cases import force_fault
from sqlalchemy import select

from api.schemas.faults import RecallRequestSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.life import load_events
from api.services.recalls import recalls, run
from api.services.setups.calibrated import latest_calibrations
from api.services.setups.histories import checks_until, events_open, record_findings
from api.services.setups.setups import gather
from api.store.record_changes import position
from api.store.tables import Item
from graph.moments import instant_us, time_zone

REQUEST = {
    "instrument": "TL-1",
    "at": "2025-06-01T12:00:00Z",
    "references": [{"item": "REF"}],
    "fittings": [{"item": "TOP", "position": "top"}, {"item": "BOT", "position": "bottom"}],
    "planned_points": ["20 kip"],
}


def put(session, **collections):
    import_laboratory(session, LaboratorySchema().load(collections), 0)


def check(code, item, at, result="pass", **more):
    return {"id": code, "item": item, "at": at, "result": result, **more}


def event(session, code, item, at, kind="overload", **more):
    sent = {"id": code, "item": item, "at": at, "kind": kind, "person": "R. Fenn", **more}
    load_events.record(session, sent, 0)


def found(session, name, about=None, **changes):
    setup = gather(session, REQUEST | changes, 0)
    keys = {one.item.id for one in setup.everything}
    findings = record_findings(session, setup, latest_calibrations(session, keys, setup.at.end_us))
    return [
        one for one in findings if one["check"] == name and (about is None or about in one["about"])
    ]


def one(session, name, about, **changes):
    (finding,) = found(session, name, about, **changes)
    return finding


def items(session):
    return {item.code: item for item in session.scalars(select(Item))}


def test_wear_up_to_its_limit_agrees_and_beyond_it_rejects_the_part(laboratory):
    on, beyond = (one(laboratory, "wear", code) for code in ("P-TOP", "P-BOT"))
    assert (on["outcome"], on["found"], on["required"]) == ("agrees", "10 %", "10 %")
    assert (beyond["outcome"], beyond["position"]) == ("differs", "bottom")
    # 10.1 - 10 = 0.1, a hundredth of 10
    assert beyond["off_by"] == {"absolute": "0.1 %", "relative": "0.01"}
    assert (beyond["required_by"], bool(beyond["remedy"])) == ("check K-2", True)


def test_the_latest_check_that_measured_the_wear_counts_and_a_later_one_does_not(laboratory):
    more = {"kind": "inspection", "limit_pct": "10"}
    put(
        laboratory,
        checks=[
            check("K-3", "P-TOP", "2025-03-01T10:00:00Z", wear_pct="12", **more),
            check("K-4", "P-TOP", "2025-04-01T10:00:00Z", kind="inspection"),
            check("K-5", "P-TOP", "2025-06-02T10:00:00Z", wear_pct="1", **more),
        ],
    )
    assert one(laboratory, "wear", "P-TOP")["found"] == "12 %"
    assert one(laboratory, "wear", "P-TOP", at="2025-06-03T00:00:00Z")["found"] == "1 %"


def test_a_part_without_a_measured_wear_is_named_and_not_taken_to_be_new(laboratory):
    (unknown,) = [one for one in found(laboratory, "wear") if one["outcome"] == "not_checked"]
    assert unknown["about"] == ["TOP", "BOT"]
    assert unknown["missing"] == "a check with wear_pct and limit_pct"


@pytest.mark.parametrize(
    ("stated", "outcome"),
    [
        ("12", "agrees"),
        (12, "agrees"),
        ("11.9", "differs"),
        ("x", None),
        ("1e9", None),
        (None, None),
    ],
)
def test_a_check_without_a_limit_takes_that_of_the_item_if_it_can_be_read(
    laboratory, stated, outcome
):
    more = {} if stated is None else {"properties": {"wear_limit_pct": stated}}
    put(
        laboratory,
        items=[{"id": "HOOK", "kind": "adapter_part", **more}],
        checks=[check("K-9", "HOOK", "2025-02-01", wear_pct="12", kind="inspection")],
    )
    finding = one(laboratory, "wear", "HOOK", fittings=[{"item": "HOOK"}])
    assert finding["outcome"] == (outcome or "not_checked")


def test_cycles_are_counted_against_the_design_life(laboratory):
    # 300,000 and 450,000 of 500,000: three fifths, and the nine tenths from which it is warned
    top, bottom = (one(laboratory, "load_cycles", code) for code in ("P-TOP", "P-BOT"))
    assert (top["outcome"], top["computed"], "warning" in top) == (
        "agrees",
        {"share": "0.6"},
        False,
    )
    assert (bottom["outcome"], bottom["computed"], bottom["warning"]) == (
        "agrees",
        {"share": "0.9"},
        True,
    )
    old = one(laboratory, "load_cycles", "P-OLD", fittings=[{"item": "P-OLD"}])
    assert (old["outcome"], old["off_by"]["absolute"]) == ("differs", "1 cycles")
    assert "past its life" in old["sentence"]


def test_a_part_without_a_design_life_is_named(laboratory):
    (unknown,) = [
        one for one in found(laboratory, "load_cycles") if one["outcome"] == "not_checked"
    ]
    assert (unknown["about"], unknown["missing"]) == (["TOP", "BOT"], "design_life_cycles")


def test_an_event_is_open_until_the_part_itself_passes_an_inspection(laboratory):
    event(laboratory, "E-1", "TOP", "2025-03-01T10:00:00Z")
    event(laboratory, "E-2", "P-BOT", "2025-03-01T10:00:00Z", kind="use")
    inspection = {"kind": "inspection"}
    put(laboratory, checks=[check("K-6", "TOP", "2025-03-02T10:00:00Z", **inspection)])

    def affected(**changes):
        events = found(laboratory, "load_event", **changes)
        return [item for one in events if one["outcome"] == "differs" for item in one["about"]]

    # What happened to the assembly happened to the pin that it held, which nobody inspected; mere
    # use asks for no inspection.
    assert affected() == ["P-TOP"]
    assert affected(at="2025-03-01T12:00:00Z") == ["TOP", "P-TOP"]
    assert affected(at="2025-02-28T12:00:00Z") == []
    put(laboratory, checks=[check("K-7", "P-TOP", "2025-03-03T10:00:00Z", "fail", **inspection)])
    assert affected() == ["P-TOP"]
    put(laboratory, checks=[check("K-8", "P-TOP", "2025-03-04T10:00:00Z", **inspection)])
    assert affected() == []


def test_those_without_an_open_event_are_named_together(laboratory):
    (clear,) = found(laboratory, "load_event")
    assert clear["outcome"] == "agrees"
    assert clear["about"] == ["TL-1", "REF", "TOP", "BOT", "P-TOP", "P-BOT"]


def test_a_failed_check_counts_while_it_is_the_latest(laboratory):
    put(laboratory, checks=[check("K-3", "P-TOP", "2025-03-01T10:00:00Z", "fail")])
    failed = one(laboratory, "failed_check", "P-TOP")
    assert (failed["outcome"], failed["position"], failed["found"]) == ("differs", "top", "fail")
    assert one(laboratory, "failed_check", "P-TOP", at="2025-02-02T00:00:00Z")["outcome"] == (
        "agrees"
    )
    put(laboratory, checks=[check("K-4", "P-TOP", "2025-04-01T10:00:00Z")])
    assert one(laboratory, "failed_check", "P-TOP")["outcome"] == "agrees"


def test_a_later_calibration_says_more_than_the_check_before_it(laboratory):
    put(
        laboratory,
        checks=[
            check("K-5", "REF", "2024-01-09T10:00:00Z", "fail"),  # it was calibrated the day after
            check("K-6", "TL-1", "2024-01-09T10:00:00Z", "fail"),
        ],
    )
    assert found(laboratory, "failed_check", "REF") == []
    assert one(laboratory, "failed_check", "TL-1")["outcome"] == "differs"


def test_an_item_isolated_by_a_recall_is_found_from_then_on(laboratory):
    fault = force_fault("P-TOP", isolated_at="2025-05-01T12:00:00Z")
    answer = run.recall(laboratory, RecallRequestSchema().load({"fault": fault}), 0)
    recalls.store(laboratory, answer, None, 0, position(laboratory))
    part, whole = (one(laboratory, "isolation", code) for code in ("P-TOP", "TOP"))
    assert (part["outcome"], whole["outcome"]) == ("differs", "differs")
    assert part["found"] == whole["found"]
    # An assembly is isolated while it holds the part.
    assert "since it holds P-TOP" in whole["sentence"]
    assert "since" not in part["sentence"]
    assert one(laboratory, "isolation", "BOT")["outcome"] == "agrees"
    earlier = one(laboratory, "isolation", "P-TOP", at="2025-05-01T12:00:00Z")
    assert earlier["outcome"] == "agrees"


def test_checks_come_in_their_order_and_end_at_the_instant(laboratory):
    put(
        laboratory,
        checks=[check("K-0", "P-TOP", "2025-01-15"), check("K-9", "P-TOP", "2025-07-01")],
    )
    keys = [item.id for item in items(laboratory).values()]
    until = instant_us("2025-06-01T12:00:00Z", time_zone("UTC"))
    by_item = checks_until(laboratory, keys, until)
    codes = {code: item.id for code, item in items(laboratory).items()}
    assert {key: [one.code for one in some] for key, some in by_item.items()} == {
        codes["P-TOP"]: ["K-0", "K-1"],
        codes["P-BOT"]: ["K-2"],
    }


def test_open_events_are_found_by_item(laboratory):
    event(laboratory, "E-1", "P-TOP", "2025-03-01T10:00:00Z")
    event(laboratory, "E-2", "P-TOP", "2025-07-01T10:00:00Z")
    known = items(laboratory)
    some = [known["P-TOP"], known["P-BOT"]]
    at = {day: instant_us(day, time_zone("UTC")) for day in ("2025-06-01", "2025-08-01")}
    key = known["P-TOP"].id
    early, late = (events_open(laboratory, some, us) for us in at.values())
    assert [one.code for one in early[key]] == ["E-1"]
    assert sorted(one.code for one in late[key]) == ["E-1", "E-2"]
    assert not early.get(known["P-BOT"].id)
