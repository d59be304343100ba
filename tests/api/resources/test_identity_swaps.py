"""Two items taken for each other: what is recorded of one in that time is the other's.

The expected places of each record are worked by hand from the bounds, from (inclusive) until
(exclusive). That the old records are kept with who changed them: ISO/IEC 17025:2017, 7.5.2, from
memory.
"""

from __future__ import annotations

import pytest
from oracle_cases import cal, force_fault, lab, ref

SAID = {"by": "M. Tarn", "reason": "the labels of both cells were exchanged"}
SPRING = {"from": "2025-03-01T00:00:00Z", "until": "2025-05-01T00:00:00Z"}
HELD = {"assembly": "RIG", "part": "A", "from": "2025-01-01T00:00:00Z", "share": "1"}


def check(code, item, at, **more):
    return {"id": code, "item": item, "at": f"2025-{at}T10:00:00Z", "result": "pass", **more}


@pytest.fixture
def mixed(client):
    """A and B are calibrated, used, held and checked before, in and after spring."""
    made = lab(
        cal("A-1", "A", "01-02", [ref("REF")]),
        cal("B-1", "B", "01-03", [ref("REF")]),
        cal("K-1", "X", "02-28", [ref("A")]),
        cal("K-2", "X", "2025-03-01T00:00:00Z", [ref("REF"), ref("A", "0.5")]),
        cal("K-3", "X", "04-30", [ref("B")]),
        cal("K-4", "X", "2025-05-01T00:00:00Z", [ref("A")]),
        cal("A-2", "A", "04-01", []),
        composition=[HELD],
        checks=[
            check("C-1", "A", "02-01"),
            check("C-2", "A", "03-10"),
            check("C-3", "REF", "03-11", against="B"),
        ],
    )
    made["items"].append({"id": "RIG", "kind": "force_machine"})
    assert client.post("/v1/imports", json=made).status_code == 201
    return client


def swap(client, *items, **more):
    body = SAID | {"items": list(items or ("A", "B"))} | SPRING | more
    sent = {name: value for name, value in body.items() if value is not None}
    return client.post("/v1/identity-swaps", json=sent)


def used(client, number):
    uses = client.get(f"/v1/certificates/{number}").get_json()["uses"]
    return [(use["item"], use.get("in_force", {}).get("certificate")) for use in uses]


def state(client):
    """Everything that an exchange may touch, without its history."""
    holdings = client.get("/v1/compositions").get_json()["items"]
    checks = client.get("/v1/checks").get_json()["items"]
    return {
        "uses": [used(client, f"K-{n}") for n in (1, 2, 3, 4)],
        "items": [client.get(f"/v1/certificates/{n}").get_json()["item"] for n in ("A-1", "A-2")],
        "checks": [(one["item"], one.get("against")) for one in checks],
        "held": sorted((one["from"], one["part"], one["until"]) for one in holdings),
    }


def test_what_is_recorded_in_that_time_is_the_others(mixed):
    answer = swap(mixed)
    assert answer.status_code == 201, answer.text
    shown = answer.get_json()
    assert shown["moved"] == {"calibrations": 1, "uses": 2, "checks": 2, "compositions": 1}
    assert {name: shown[name] for name in ("items", "from", "until", "by", "reason")} == (
        SAID | SPRING | {"items": ["A", "B"]}
    )
    assert state(mixed) == {
        # K-2 used what was B, which B-1 calibrated; K-3 what was A. In May A is itself again, and
        # the calibration of April was of B.
        "uses": [[("A", "A-1")], [("REF", None), ("B", "B-1")], [("A", "A-1")], [("A", "A-1")]],
        "items": ["A", "B"],
        "checks": [("A", None), ("B", None), ("REF", "A")],
        "held": [
            ("2025-01-01T00:00:00Z", "A", "2025-03-01T00:00:00Z"),
            ("2025-03-01T00:00:00Z", "B", "2025-05-01T00:00:00Z"),
            ("2025-05-01T00:00:00Z", "A", None),
        ],
    }


def test_the_old_records_are_kept_and_shown(mixed):
    made = swap(mixed).get_json()
    for item in ("A", "B"):
        (kept,) = mixed.get(f"/v1/items/{item}").get_json()["identity_swaps"]
        assert kept == {name: value for name, value in made.items() if name != "id"}
    (use,) = mixed.get("/v1/certificates/K-2").get_json()["use_corrections"]
    assert (use["position"], use["before"]["item"], use["after"]["item"]) == (1, "A", "B")
    assert use["before"]["weight"] == use["after"]["weight"] == "0.5"
    (moved,) = mixed.get("/v1/certificates/A-2").get_json()["corrections"]
    assert (moved["before"], moved["after"]) == ({"item": "A"}, {"item": "B"})
    first, *further = mixed.get("/v1/compositions").get_json()["items"]
    assert first["corrections"][0]["before"] == HELD
    assert [one["corrections"][0]["before"] for one in further] == [{"id": first["id"]} | HELD] * 2
    assert all(one["share"] == "1" for one in (first, *further))
    assert mixed.get("/v1/checks/C-2").get_json()["corrections"][0]["before"]["item"] == "A"
    assert "corrections" not in mixed.get("/v1/checks/C-1").get_json()
    last = mixed.get("/v1/journal").get_json()["items"][0]
    assert (last["facts"][0]["what"], last["facts"][0]["by"]) == ("identities exchanged", "M. Tarn")


def test_the_same_exchange_again_takes_it_back(mixed):
    before = state(mixed)
    assert swap(mixed).status_code == 201
    assert swap(mixed, "B", "A").status_code == 201
    assert state(mixed) == before
    # What became of the pieces is told of the one holding that they are again.
    (holding,) = mixed.get("/v1/compositions").get_json()["items"]
    told = [
        (one["before"]["from"][:10], one["after"]["part"], one["after"].get("until", "")[:10])
        for one in holding["corrections"]
    ]
    # Cut in three, of which the second is B's; that is A's again; the first two are one, then all.
    assert sorted(told) == [
        ("2025-01-01", "A", ""),
        ("2025-01-01", "A", ""),
        ("2025-01-01", "A", "2025-03-01"),
        ("2025-01-01", "A", "2025-05-01"),
        ("2025-01-01", "B", "2025-05-01"),
        ("2025-03-01", "A", "2025-05-01"),
    ]
    for items in (("A", "B"), ("B", "A")):  # and so on, as often as somebody is of two minds
        assert swap(mixed, *items).status_code == 201
    assert state(mixed) == before


def test_pieces_that_somebody_changed_since_stay_pieces(mixed):
    assert swap(mixed).status_code == 201
    held = mixed.get("/v1/compositions").get_json()["items"]
    last = next(one for one in held if one["from"].startswith("2025-05"))
    change = {"by": "M. Tarn", "reason": "weighed again", "share": "0.5"}
    path = f"/v1/compositions/{last['id']}/corrections"
    assert mixed.post(path, json=change).status_code == 201
    assert swap(mixed, "B", "A").status_code == 201
    assert [(part, until) for _, part, until in state(mixed)["held"]] == [
        ("A", "2025-05-01T00:00:00Z"),
        ("A", None),
    ]


def test_the_file_it_came_from_is_unchanged(mixed):
    swap(mixed)
    sent = {
        "composition": [HELD],
        "checks": [check("C-2", "A", "03-10")],
        "calibrations": [cal("A-2", "A", "04-01", [])],
    }
    unchanged = mixed.post("/v1/imports", json=sent).get_json()["unchanged"]
    assert (unchanged["composition"], unchanged["checks"], unchanged["calibrations"]) == (1, 1, 1)


def test_two_parts_that_an_assembly_held_alike_all_the_time_are_still_held_so(mixed):
    mixed.post("/v1/compositions", json=HELD | {"part": "B"})
    held = state(mixed)["held"]
    assert swap(mixed).status_code == 201
    assert state(mixed)["held"] == held


def test_two_parts_of_one_assembly_change_places(mixed):
    mixed.post("/v1/compositions", json=HELD | {"part": "B", "share": "0.5"})
    assert swap(mixed).status_code == 201
    held = sorted((from_, part) for from_, part, _ in state(mixed)["held"])
    assert held == [
        (at, part)
        for at in ("2025-01-01T00:00:00Z", "2025-03-01T00:00:00Z", "2025-05-01T00:00:00Z")
        for part in ("A", "B")
    ]


def test_a_recall_follows_what_was_used(mixed):
    assert swap(mixed).status_code == 201
    request = {"fault": force_fault("B"), "preview": True}
    affected = mixed.post("/v1/recalls", json=request).get_json()["affected"]
    assert [one["certificate"] for one in affected] == ["K-2"]


def test_without_an_end_it_is_to_this_day_and_a_bare_date_is_its_whole_day(mixed):
    assert swap(mixed, **{"from": "2025-04-30"}, until=None).status_code == 201
    assert used(mixed, "K-3") == [("A", "A-2")]
    assert used(mixed, "K-4") == [("B", "B-1")]
    assert swap(mixed, **{"from": "2025-05-01"}, until="2025-05-01").status_code == 201
    assert used(mixed, "K-4") == [("A", "A-2")]


@pytest.mark.parametrize(
    ("more", "pointer"),
    [
        ({"by": None}, "/by"),
        ({"reason": "  "}, "/reason"),
        ({"from": "2025-03-01T00:00:00"}, "/from"),
        ({"until": "2025-03-01T00:00:00Z"}, "/until"),
        ({"items": ["A"]}, "/items"),
        ({"items": ["A", "A"]}, "/items"),
        ({"items": ["A", "NONE"]}, "/items/1"),
        ({"from": "2020-01-01", "until": "2020-02-01"}, "/from"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_changed(mixed, more, pointer):
    before = state(mixed)
    answer = swap(mixed, **more)
    assert answer.status_code == 422, answer.text
    assert [one["pointer"] for one in answer.get_json()["errors"]] == [pointer]
    assert state(mixed) == before


def test_items_of_two_kinds_were_never_one_for_the_other(mixed):
    answer = swap(mixed, "A", "RIG")
    assert answer.status_code == 409
    assert "force_machine" in answer.get_json()["errors"][0]["detail"]


def test_an_item_that_was_not_in_service_cannot_have_been_used(mixed):
    new = {"id": "N", "kind": "working_standard", "in_service_from": "2025-04-15"}
    mixed.post("/v1/items", json=new)
    answer = swap(mixed, "A", "N")
    assert answer.status_code == 422
    assert "in service" in answer.get_json()["errors"][0]["detail"]


def test_a_use_that_names_a_certificate_of_the_other_is_corrected_first(mixed):
    named = cal("K-5", "X", "04-10", [ref("A", certificate="A-1")])
    assert mixed.post("/v1/calibrations", json=named).status_code == 201
    answer = swap(mixed)
    assert answer.status_code == 422
    (error,) = answer.get_json()["errors"]
    assert "use 0 of K-5 rev. 0" in error["detail"]
    mended = {"by": "M. Tarn", "reason": "by date", "use": ref("A")}
    mixed.post("/v1/certificates/K-5/uses/0/corrections", json=mended)
    assert swap(mixed).status_code == 201
    assert used(mixed, "K-5") == [("B", "A-2")]


def test_an_exchange_by_which_a_calibration_would_rest_on_itself_is_refused(mixed):
    # P-1 used Q a week after it began; were R-1 of Q, it would rest on P-1, which rests on it.
    later = ref("Q", performed_at="2025-06-10T00:00:00Z")
    items = [{"id": code, "kind": "working_standard"} for code in ("P", "Q", "R")]
    calibrations = [cal("P-1", "P", "06-01", [later]), cal("R-1", "R", "06-05", [ref("P")])]
    sent = {"items": items, "calibrations": calibrations}
    assert mixed.post("/v1/imports", json=sent).status_code == 201
    before = state(mixed)
    answer = swap(mixed, "Q", "R", **{"from": "2025-06-05"}, until="2025-06-05")
    assert answer.status_code == 422, answer.text
    assert "rests on itself" in answer.get_json()["errors"][0]["detail"]
    assert state(mixed) == before


def test_both_items_say_that_a_certificate_is_of_the_one_and_then_of_the_other(mixed):
    revised = cal("A-2", "B", "04-01", [], revision=1, amendment="serial number corrected")
    assert mixed.post("/v1/certificates/A-2/revisions", json=revised).status_code == 201
    one = {"certificate": "A-2", "revision": 0, "other_revision": 1, "other_item": "B"}
    other = {"certificate": "A-2", "revision": 1, "other_revision": 0, "other_item": "A"}
    assert mixed.get("/v1/items/A").get_json()["shared_certificates"] == [one]
    assert mixed.get("/v1/items/B").get_json()["shared_certificates"] == [other]
    assert "shared_certificates" not in mixed.get("/v1/items/X").get_json()


@pytest.mark.parametrize(
    ("kinds", "status"),
    [
        # Two load cells on a bench look alike, whoever owns them; a pin is no machine.
        (("reference_standard", "working_standard"), 201),
        (("working_standard", "customer_instrument"), 201),
        (("adapter", "adapter_part"), 201),
        (("working_standard", "force_machine"), 409),
        (("adapter_part", "readout"), 409),
    ],
)
def test_items_of_kinds_that_look_alike_can_have_been_taken_for_each_other(client, kinds, status):
    made = lab(
        cal("K", "X", "03-10", [ref("A", role="adapter")]),
        kinds=dict(zip("AB", kinds, strict=True)),
    )
    assert client.post("/v1/imports", json=made).status_code == 201
    assert swap(client).status_code == status
    assert used(client, "K")[0][0] == ("B" if status == 201 else "A")


def test_a_long_history_is_told_from_its_end_and_listed_by_pages(mixed):
    # 20 at once (common practice, no source), of 22: the checks' two states in turn.
    for n in range(22):
        said = {"by": "M. Tarn", "reason": f"look {n}", "result": ("fail", "pass")[n % 2]}
        assert mixed.post("/v1/checks/C-1/corrections", json=said).status_code == 201
        moved = {"by": "M. Tarn", "reason": f"look {n}", "share": f"0.{n + 10}"}
        assert mixed.post("/v1/compositions/1/corrections", json=moved).status_code == 201
        assert swap(mixed, reason=f"look {n}").status_code == 201
    for address, name in (
        ("/v1/checks/C-1", "corrections"),
        ("/v1/items/A", "identity_swaps"),
        ("/v1/compositions/1", "corrections"),
    ):
        shown = mixed.get(address).get_json()
        told, everything = shown[name], shown[f"all_{name}"]
        assert len(told) == 20
        assert told[-1]["reason"] == "look 21"
        listed, href = [], everything["href"]
        while href:
            page = mixed.get(href, query_string={"limit": 9} if not listed else None).get_json()
            listed += page["items"]
            href = page.get("next")
        assert len(listed) == everything["count"] > 20
        assert [one["reason"] for one in listed if one["reason"] == "look 0"]
        assert listed[-20:] == told


def test_a_short_history_is_told_whole(mixed):
    assert swap(mixed).status_code == 201
    shown = mixed.get("/v1/items/B").get_json()
    assert len(shown["identity_swaps"]) == 1
    assert "all_identity_swaps" not in shown
    listed = mixed.get("/v1/items/B/identity-swaps").get_json()
    assert listed["items"] == shown["identity_swaps"]
    assert mixed.get("/v1/items/NONE/identity-swaps").status_code == 404
