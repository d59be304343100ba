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


def test_an_isolated_item_says_so_with_the_recall_and_the_way_out(visitor):
    page = visitor.get("/items/REF-500A").text
    assert "<strong>Isolated</strong>" in page
    assert 'href="/recalls/1">R-00001' in page
    assert 'href="/recalls/1#resumption"' in page
    assert "<strong>Isolated</strong>" not in visitor.get("/items/REF-500B").text


def test_an_assembly_is_isolated_while_it_holds_the_part(visitor, keys):
    # The worn pin of the second recall, put into a clevis that it left long ago.
    held = {"assembly": "ADP-23", "part": "PIN-22A", "from": "2025-11-01", "until": None}
    answer = visitor.client.post("/v1/compositions", json=held, headers=keys.headers())
    assert answer.status_code == 201, answer.text
    page = visitor.get("/items/ADP-23").text
    assert "because it holds" in page
    assert "/items/PIN-22A" in page
    assert "<strong>Isolated</strong>" not in visitor.get("/items/ADP-22").text


def test_a_use_that_somebody_answered_for_is_shown_with_name_and_reason(visitor, keys):
    override = {"by": "Robin Manager", "reason": "load check only"}
    use = {"item": "REF-500A", "role": "force_reference", "override": override}
    record = {
        "certificate": "MV-25-0901",
        "item": "LC-01",
        "performed_at": "2025-10-01T10:00:00-07:00",
        "uses": [use],
        "results": [],
    }
    answer = visitor.client.post("/v1/calibrations", json=record, headers=keys.headers())
    assert answer.status_code == 201, answer.text
    page = visitor.get("/items/REF-500A").text
    part = page.split("Used while it was isolated")[1].split("</table>")[0]
    for said in (
        "/certificates/MV-25-0901",
        "Robin Manager",
        "load check only",
        "2025-10-01 10:00",
    ):
        assert said in part
    assert "Used while it was isolated" not in visitor.get("/items/REF-500B").text


def test_a_certificate_whose_revisions_name_two_items_is_told_of_on_both(visitor, keys):
    headers = keys.headers()
    first = {
        "certificate": "MV-25-0910",
        "item": "LC-01",
        "performed_at": "2025-06-03T10:00:00-07:00",
        "uses": [],
        "results": [],
    }
    second = first | {"item": "LC-02", "revision": 1, "amendment": "the serial was of the other"}
    made = visitor.client.post("/v1/calibrations", json=first, headers=headers)
    assert made.status_code == 201, made.text
    where = "/v1/certificates/MV-25-0910/revisions"
    made = visitor.client.post(where, json=second, headers=headers)
    assert made.status_code == 201, made.text
    for item, other, revision in (("LC-01", "LC-02", 0), ("LC-02", "LC-01", 1)):
        page = visitor.get(f"/items/{item}").text
        said = page.split("is of this item in revision ")[1][:200]
        assert said.startswith(str(revision))
        assert f"/items/{other}" in said


def test_open_alerts_and_the_requirement_that_counts_stand_on_the_page_of_an_item(visitor, client):
    page = visitor.get("/items/PIN-22A").text
    assert 'href="/alerts/3"' in page
    assert "PIN-22A failed check CHK-016 (inspection)" in page
    page = visitor.get("/items/TL-01").text
    assert "LINK-20000-lbf" in page
    assert "recorded for its type and rated capacity" in page
    link = {"kind": "customer_instrument", "type": "tension_link", "capacity": "20000 lbf"}
    link |= {"id": "Q-1", "make": "Quill", "model": "L-25"}
    pin = {"id": "q", "applies_to": {"make": "Quill", "model": "L-20"}, "source": "leaf 3"}
    pin |= {"pin": {"diameter": "2 in"}}
    sent = {"items": [link], "requirements": [pin]}
    assert client.post("/v1/imports", json=sent).status_code == 201
    page = visitor.get("/items/Q-1").text
    assert "Quill L-25" in page
    assert "L-20 (q), are not taken" in page
    twin = pin | {"id": "twin", "applies_to": {"type": "tension_link", "capacity": "20 kip"}}
    client.post("/v1/requirements", json=twin)
    assert "count alike, by its type and rated capacity" in visitor.get("/items/TL-01").text
