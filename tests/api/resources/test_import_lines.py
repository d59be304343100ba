"""Imports as NDJSON: the result of the one document, with lines in the faults."""

from __future__ import annotations

import json
import random

import pytest
from oracle_cases import cal, lab, ref
from sqlalchemy import select

from api.schemas.imports import LaboratorySchema
from api.services.imports import lines as import_lines
from api.services.imports.imports import Contents
from api.store.journal import JournalLine
from api.store.tables import ImportRun

LAB = lab(
    cal("W-1", "WS", "01-10", [ref("REF")]),
    cal("C-1", "A", "2025-02-01", [ref("WS")], customer="Harbour"),
    composition=[{"assembly": "A", "part": "WS", "from": "2025-01-01"}],
    checks=[{"id": "K", "item": "WS", "at": "2025-01-15", "result": "pass", "kind": "drift"}],
)
BESIDE = {"title": "Trial", "note": "n", "time_zone": "Europe/Vienna", "traps": ["one"]}
COUNTS = {"items": 3, "composition": 1, "calibrations": 2, "checks": 1}
NONE = dict.fromkeys(COUNTS, 0)


def send(client, lines, query="", kind="application/x-ndjson"):
    text = lines if isinstance(lines, bytes) else "\n".join(map(json.dumps, lines)).encode()
    return client.post(f"/v1/imports{query}", data=text, headers={"Content-Type": kind})


def records(laboratory=LAB):
    """Collection and record of everything in a laboratory."""
    return [(name, one) for name in COUNTS for one in laboratory.get(name, ())]


def usual(laboratory=LAB):
    return [{name: one} for name, one in records(laboratory)]


def faults(answer, status=422):
    assert answer.status_code == status, answer.text
    assert answer.mimetype == "application/problem+json"
    found = json.loads(answer.text)["errors"]
    assert all(one["remedy"] for one in found)
    return [(one.get("line"), one["pointer"]) for one in found]


def journal_facts(database):
    with database.read() as session:
        bodies = session.scalars(select(JournalLine.body).order_by(JournalLine.position))
        facts = [fact for body in bodies for fact in json.loads(body)["facts"]]
    return [fact for fact in facts if fact["what"] == "import"]


def hash_of(laboratory):
    """What the journal says of a laboratory: its heading and records, in no order."""
    loaded = LaboratorySchema().load(laboratory)
    contents = Contents({name: one for name, one in loaded.items() if name not in COUNTS})
    for name in COUNTS:
        contents.add(name, loaded[name])
    return contents.sha256()


def test_lines_are_imported_as_the_document_would_be(client):
    answer = send(client, usual())
    assert answer.status_code == 201
    assert answer.get_json() == {"created": COUNTS, "unchanged": NONE}
    again = client.post("/v1/imports", json=LAB)
    assert again.get_json() == {"created": NONE, "unchanged": COUNTS}
    assert send(client, usual()).get_json() == {"created": NONE, "unchanged": COUNTS}


@pytest.mark.parametrize("seed", range(3))
def test_lines_in_any_order_leave_the_journal_the_hash_of_the_document(client, database, seed):
    lines = [*usual(), {"title": "Trial", "note": "n"}, {"time_zone": "Europe/Vienna"}]
    lines.append({"traps": ["one"]})
    random.Random(seed).shuffle(lines)
    assert send(client, lines).status_code == 201
    (by_lines,) = journal_facts(database)
    assert by_lines["sha256"] == hash_of(LAB | BESIDE)
    with database.read() as session:
        run = session.scalars(select(ImportRun)).one()
    assert run.counts == COUNTS
    assert run.annotations == {name: BESIDE[name] for name in ("title", "note", "traps")}
    (use,) = client.get("/v1/certificates/C-1").get_json()["uses"]
    assert use["in_force"] == {"certificate": "W-1", "revision": 0}


def test_the_document_leaves_the_same_hash_whatever_its_order(client, database):
    turned = {name: list(reversed(one)) for name, one in LAB.items()}
    client.post("/v1/imports", json=turned)
    (fact,) = journal_facts(database)
    assert fact == {"what": "import", "created": COUNTS, "sha256": hash_of(LAB)}


@pytest.mark.parametrize(
    "form",
    [
        lambda name, one: {name: one},
        lambda name, one: {name: [one]},
        lambda name, one: {"collection": name, "record": one},
        lambda name, one: one,
    ],
)
def test_a_record_stands_under_its_collection_or_beside_it_or_alone(client, form):
    answer = send(client, [form(name, one) for name, one in records()])
    assert answer.get_json()["created"] == COUNTS


def test_a_line_may_hold_a_piece_of_any_size(client):
    pieces = [{"items": LAB["items"], "checks": LAB["checks"][0]}, BESIDE]
    pieces.append({"calibrations": LAB["calibrations"], "composition": LAB["composition"]})
    assert send(client, pieces).get_json()["created"] == COUNTS


def test_blank_lines_line_ends_and_a_byte_order_mark_do_not_matter(client):
    text = "\r\n\r\n".join(map(json.dumps, usual())).encode()
    answer = send(client, b"\xef\xbb\xbf" + text + b"\r\n  \n", kind="application/jsonl")
    assert answer.get_json()["created"] == COUNTS


def test_an_empty_body_is_an_import_of_nothing(client):
    assert send(client, b"").get_json() == {"created": NONE, "unchanged": NONE}


def test_a_dry_run_of_lines_stores_nothing(client):
    answer = send(client, usual(), "?dry_run=true")
    assert answer.status_code == 200
    assert answer.get_json() == {"created": COUNTS, "unchanged": NONE, "dry_run": True}
    assert client.get("/v1/items").get_json()["items"] == []


ITEM = {"id": "X", "kind": "readout"}
CALIBRATION = cal("C-9", "GHOST", "02-01", [ref("WS")])
BAD = {
    "an unknown kind": ([{"items": {"id": "X", "kind": "hammer"}}], (2, "/items/kind")),
    "an unknown kind in a list": (
        [{"items": [ITEM, {"id": "Y", "kind": "hammer"}]}],
        (2, "/items/1/kind"),
    ),
    "an unknown kind beside its collection": (
        [{"collection": "items", "record": {"id": "X", "kind": "hammer"}}],
        (2, "/record/kind"),
    ),
    "an unknown kind of an item alone": ([{"id": "X", "kind": "hammer"}], (2, "/kind")),
    "a collection that there is not": (
        [{"collection": "hammers", "record": ITEM}],
        (2, "/collection"),
    ),
    "an unknown key": ([{"faults": []}], (2, "/faults")),
    "no object": ([["items"]], (2, "")),
    "a dangling link": (
        [{"calibrations": CALIBRATION}],
        (2, "/calibrations/item"),
    ),
    "a dangling link of a calibration alone": ([CALIBRATION], (2, "/item")),
    "one item twice": ([{"items": ITEM}, {"items": ITEM}], (3, "/items")),
    "another time zone": (
        [{"time_zone": "UTC"}, {"time_zone": "Asia/Tokyo"}],
        (3, "/time_zone"),
    ),
    "a time zone that nobody knows": ([{"time_zone": "Mars/Base"}], (2, "/time_zone")),
    "a part within itself": (
        [{"composition": {"assembly": "WS", "part": "WS", "from": "2025-01-01"}}],
        (None, "/composition"),
    ),
    "a certificate that nobody recorded": (
        [{"calibrations": cal("C-9", "WS", "02-01", [ref("WS", certificate="NO")])}],
        (2, "/calibrations/uses/0/certificate"),
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_a_fault_names_its_line_and_the_place_in_it_and_nothing_is_stored(client, name):
    lines, expected = BAD[name]
    answer = send(client, [{"items": {"id": "WS", "kind": "working_standard"}}, *lines])
    assert faults(answer) == [expected]
    assert client.get("/v1/items").get_json()["items"] == []


@pytest.mark.parametrize("text", [b"{", b'{"items": NaN}', b"\xff\xfe", b'{"id": "1", "id": "2"}'])
def test_a_line_that_is_no_json_of_one_meaning_is_named(client, text):
    answer = send(client, b'{"title": "t"}\n' + text + b"\n")
    assert faults(answer, 400) == [(2, "")]
    assert answer.get_json()["type"] == "/problems/malformed-json"


def test_the_faults_of_all_lines_are_named_together(client):
    bad = {"items": {"id": "X", "kind": "hammer"}}
    assert faults(send(client, [bad, {"title": "t"}, bad])) == [
        (1, "/items/kind"),
        (3, "/items/kind"),
    ]


def test_a_record_twice_in_far_lines_is_told_with_the_line_of_the_first(client, monkeypatch):
    monkeypatch.setattr(import_lines, "LOT", 2)
    lines = [{"items": {"id": f"I-{n}", "kind": "readout"}} for n in (1, 2, 3, 4, 2)]
    answer = send(client, lines)
    assert faults(answer) == [(5, "/items")]
    assert "first at line 2" in answer.get_json()["errors"][0]["detail"]


def test_a_conflict_names_its_line(client):
    send(client, usual())
    changed = LAB["calibrations"][1] | {"method": "another"}
    answer = send(client, [{"title": "t"}, {"calibrations": changed}])
    assert faults(answer, 409) == [(2, "/calibrations")]


def test_lots_are_joined_as_one_laboratory(client, database, monkeypatch):
    monkeypatch.setattr(import_lines, "LOT", 1)
    chain = lab(
        *(cal(f"W-{n}", f"I-{n}", f"01-{n + 10}", [ref(f"I-{n - 1}")]) for n in range(1, 9))
    )
    lines = usual(chain)
    random.Random(7).shuffle(lines)
    assert send(client, lines).get_json()["created"] == NONE | {"items": 9, "calibrations": 8}
    shown = client.get("/v1/certificates/W-8/chain").get_json()
    assert len(shown["links"]) == 8
    assert client.post("/v1/imports", json=chain).get_json()["unchanged"]["calibrations"] == 8


def test_a_line_that_is_too_long_is_named(client, monkeypatch):
    monkeypatch.setattr(import_lines, "LONGEST_LINE", 100)
    answer = send(client, [{"title": "t"}, {"note": "x" * 100}])
    assert faults(answer, 400) == [(2, "")]


def test_a_retry_of_lines_with_the_same_key_is_done_once(client):
    text = "\n".join(map(json.dumps, usual()))
    headers = {"Idempotency-Key": "lines-1", "Content-Type": "application/x-ndjson"}
    first = client.post("/v1/imports", data=text, headers=headers)
    again = client.post("/v1/imports", data=text, headers=headers)
    assert again.get_json() == first.get_json()
    assert again.headers["Idempotency-Replayed"] == "true"


def test_another_media_type_is_refused(client):
    assert send(client, b"x", kind="text/plain").status_code == 415
