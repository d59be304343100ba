"""Does the oracle hold on random laboratories what must hold whatever the records say?

None of these needs a second answer: one list for each certificate, several faults as each alone, a
void that came after every use, and nobody missing from the list of those that cannot be excluded.
"""

from __future__ import annotations

from typing import Any

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from laboratories import faults_for, laboratories, several_faults_for
from recall_oracle import LISTS, recall

TRIES = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))


@TRIES
@given(st.data())
def test_no_certificate_of_a_random_laboratory_stands_in_two_lists(data: st.DataObject) -> None:
    laboratory = data.draw(laboratories())
    fault = data.draw(faults_for(laboratory))
    answer = recall(laboratory, fault)
    listed = [(e["certificate"], e["revision"]) for name in LISTS for e in answer[name]]
    assert len(listed) == len(set(listed))
    head = fault.get("item") or fault["certificate"]
    head = f"{head}:{fault['channel']}" if "channel" in fault else head
    for name in LISTS[:4]:
        for entry in answer[name]:
            for path in entry["reason_paths"]:
                assert (path[0], path[-1]) == (head, entry["certificate"])
    assert recall(laboratory, fault) == answer


@TRIES
@given(st.data())
def test_several_faults_list_what_each_of_them_lists_alone(data: st.DataObject) -> None:
    laboratory = data.draw(laboratories())
    faults = data.draw(several_faults_for(laboratory))
    together = recall(laboratory, faults)
    alone = [recall(laboratory, fault) for fault in faults]
    for count in (4, 5):
        # The first three lists and the traced ones; then those that cannot be excluded as well.
        assert reached(together, count) == set().union(*(reached(one, count) for one in alone))


def reached(answer: Any, count: int) -> set[tuple[str, int]]:
    """Certificates of the first lists of an answer."""
    return {(e["certificate"], e["revision"]) for name in LISTS[:count] for e in answer[name]}


@TRIES
@given(st.data())
def test_a_void_after_every_use_changes_nothing_but_where_the_voided_stand(
    data: st.DataObject,
) -> None:
    laboratory = data.draw(laboratories())
    fault = data.draw(faults_for(laboratory))
    before = recall(laboratory, fault)
    voided = {"status": "voided", "voided_at": "2030-01-01T00:00:00Z"}
    late = [c | voided if c["status"] == "issued" else c for c in laboratory["calibrations"]]
    after = recall(laboratory | {"calibrations": late}, fault)
    assert reached(after, 3) == set()
    assert after["cannot_be_excluded"] == []
    assert reached(after, 4) == reached(before, 4)
    traced = {(e["certificate"], e["revision"]): e for e in after["traced_not_recalled"]}
    for name in LISTS[:3]:
        for entry in before[name]:
            shown = traced[entry["certificate"], entry["revision"]]
            assert shown["reason_paths"] == entry["reason_paths"]
            assert shown["generation"] == entry["generation"]


def by_value(answer: Any) -> set[tuple[str, int]]:
    """Certificates that are affected or indeterminate, traced ones and exposed ones left out."""
    return {
        (e["certificate"], e["revision"])
        for name in ("affected", "indeterminate")
        for e in answer[name]
    }


def in_doubt(answer: Any) -> set[tuple[str, int]]:
    """Certificates that cannot be excluded."""
    return {(e["certificate"], e["revision"]) for e in answer["cannot_be_excluded"]}


def changed(data: st.DataObject, laboratory: Any, wanted: Any, **fields: Any) -> tuple[Any, Any]:
    """The laboratory with one record, of those wanted, changed; and the identity of the record."""
    places = [n for n, c in enumerate(laboratory["calibrations"]) if wanted(c)]
    assume(places)
    place = data.draw(st.sampled_from(places))
    records = list(laboratory["calibrations"])
    records[place] = records[place] | fields
    identity = (records[place]["certificate"], records[place]["revision"])
    return laboratory | {"calibrations": records}, identity


@TRIES
@given(st.data())
def test_whoever_an_undated_void_would_list_cannot_be_excluded(data: st.DataObject) -> None:
    laboratory = data.draw(laboratories())
    fault = data.draw(faults_for(laboratory))

    def undated(record: Any) -> bool:
        void = record["status"] == "voided" and "voided_at" not in record
        return void and record.get("assigns_value") is not False

    other, itself = changed(data, laboratory, undated, status="issued")
    before, after = recall(laboratory, fault), recall(other, fault)
    assume(after["window"] == before["window"])
    assert by_value(after) <= reached(before, 3) | in_doubt(before) | {itself}


@TRIES
@given(st.data())
def test_whoever_a_recorded_mode_would_list_cannot_be_excluded(data: st.DataObject) -> None:
    laboratory = data.draw(laboratories())
    fault = data.draw(faults_for(laboratory))

    def without_mode(record: Any) -> bool:
        return record["status"] == "issued" and "mode" not in record

    mode = data.draw(st.sampled_from(["tension", "compression"]))
    other, itself = changed(data, laboratory, without_mode, mode=mode)
    before, after = recall(laboratory, fault), recall(other, fault)
    assume(after["window"] == before["window"])
    assert {itself} & by_value(after) <= reached(before, 3) | in_doubt(before)
