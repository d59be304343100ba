"""The item page: history on a line of time, what rests on the item, what it rests on, cycles."""

from __future__ import annotations


def test_calibrations_checks_and_windows_stand_on_the_line_and_in_tables(visitor):
    page = visitor.get("/items/REF-500A").text
    assert 'role="img" aria-label="History of REF-500A' in page
    for said in ("OIF/25-0311", "CHK-003", "CHK-006 fail, 2025-09-09", "Recall R-00001"):
        assert said in page
    assert "2025-03-03 10:00 to 2025-09-11 16:00" in page.replace("</time>", "").replace(
        '<time datetime="2025-03-03T17:00:00Z">', ""
    ).replace('<time datetime="2025-09-11T23:00:00Z">', "")


def test_parts_in_and_out_are_shown_on_both_sides(visitor):
    assert "Assemblies it was in" in visitor.get("/items/PIN-22A").text
    assembly = visitor.get("/items/ADP-22").text
    assert "Parts in it" in assembly
    assert "/items/PIN-22A" in assembly


def test_what_rests_on_an_item_now_is_what_was_last_calibrated_with_it(visitor):
    def rests_on(item: str) -> str:
        page = visitor.get(f"/items/{item}").text
        return page.split("What rests on it now")[1].split("What it rests on")[0]

    assert "/items/WS-102" in rests_on("REF-500B")  # since July 2025, as the story says
    assert "/items/WS-102" not in rests_on("REF-500A")


def test_a_part_reaches_what_its_assembly_was_used_for_while_it_was_in_it(visitor, keys):
    page = visitor.get("/items/PIN-22A").text
    fault = {"item": "PIN-22A", "kind": "unknown", "last_good_at": None, "isolated_at": None}
    answer = visitor.client.post(
        "/v1/recalls", json={"fault": fault, "preview": True}, headers=keys.headers()
    ).get_json()
    first = [
        one
        for name in ("indeterminate", "traced_not_recalled")
        for one in answer[name]
        if one["generation"] == 1
    ]
    assert f"{len(first)} certificates used it so far" in page


def test_the_chain_goes_up_to_external_certificates(visitor):
    page = visitor.get("/items/WS-101").text
    assert "unbroken up to" in page
    assert "/certificates/OIF/" in page


def test_load_cycles_are_those_of_the_ledger(visitor, keys):
    page = visitor.get("/items/PIN-23A").text
    ledger = visitor.client.get("/v1/items/PIN-23A/cycles", headers=keys.headers()).get_json()
    assert f"{ledger['cycles']:,} load applications of a design life of 2,400" in page
    assert "past its life" in page


def test_an_item_that_is_not_recorded_is_a_page_that_says_so(visitor):
    answer = visitor.get("/items/NOSUCH")
    assert answer.status_code == 404
    assert "is not recorded" in answer.text
