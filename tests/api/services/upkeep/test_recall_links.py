"""Links beside the entries of a stored recall: whichever leads nowhere is found, by certificate."""

from __future__ import annotations

import json

import pytest
import sqlalchemy as sa
from oracle_cases import OPEN, cal, force_fault, lab, part, ref

from api.services.upkeep.recall_links import astray
from api.services.upkeep.verification import verify
from api.store.tables import Certificate, Recall, RecallEntry

CHECK = "what leads to entries"
FAULTS = [
    force_fault(),
    force_fault("PIN"),
    {"item": "RO", "kind": "readout_gain", "channel": "A", "gain": "1.001"} | OPEN,
    {"certificate": "G-1", "kind": "understated_uncertainty"}
    | {"U_rel_recorded": "0.0001", "U_rel_right": "0.0004"}
    | OPEN,
    {"method": "QP-7", "kind": "unknown"} | OPEN,
]


def work(client):
    """A recall of faults of every subject, each with users, one of them through another."""
    readout = {"item": "RO", "role": "readout_dut", "channel": "A"}
    records = lab(
        cal("G-1", "GOOD", "01-10", []),
        cal("W-1", "WS", "02-01", [ref("REF")]),
        cal("C-1", "CI", "03-01", [ref("WS"), ref("GOOD")]),
        cal("C-2", "CJ", "03-02", [ref("ADP"), readout], method="QP-7"),
        composition=[part("ADP", "PIN")],
        kinds={"ADP": "adapter", "PIN": "adapter_part", "RO": "readout"},
    )
    imported = client.post("/v1/imports", json=records)
    assert imported.status_code == 201, imported.get_json()
    made = client.post("/v1/recalls", json={"faults": FAULTS})
    assert made.status_code == 201, made.get_json()


@pytest.fixture
def recalled(once, database):
    """A database with that recall."""
    once(work)
    return database


def told(database):
    with database.read() as session:
        return [one for one in verify(session).findings if one.check == CHECK]


def edit_links(database, edit):
    """Change the stored links of C-1, which rests on W-1 and on the faulty G-1."""
    key = sa.select(Certificate.id).where(Certificate.number == "C-1").scalar_subquery()
    with database.write() as session:
        row = session.scalars(sa.select(RecallEntry).where(RecallEntry.certificate_id == key)).one()
        links = sorted(json.loads(row.links), key=lambda link: link["cause"] is None)
        assert [link["cause"] is None for link in links] == [False, True]
        row.links = edit(links)


def test_what_was_stored_is_whole_and_every_link_was_looked_at(recalled):
    assert told(recalled) == []
    with recalled.read() as session:
        looked = astray(session, session.get_one(Recall, 1))
    # W-1 from REF, C-1 from W-1 and G-1, C-2 from PIN, from the channel and from the method; G-1,
    # which names nothing, in the roles of REF, PIN and the channel.
    assert looked == (9, [])


def first_link(**changed):
    def edit(links):
        return json.dumps([links[0] | changed, *links[1:]])

    return edit


@pytest.mark.parametrize(
    ("edit", "detail"),
    [
        (first_link(cause=10**9), "a certificate of key 1000000000, which does not exist"),
        (first_link(names=["GOOD"]), "it rests on W-1 of WS by way of GOOD"),
        (first_link(names=["NOSUCH"]), "it is reached by way of NOSUCH, which is no item"),
        (first_link(fault=7), "it is reached by fault 7, which the recall does not have"),
        (first_link(cause=None), "of 1 of its paths no stored link is the last stretch"),
        (lambda links: json.dumps(links[1:]), "of 1 of its paths no stored link"),
        (lambda links: json.dumps(links[:1]), "of 1 of its paths no stored link"),
        (lambda links: None, "of 2 of its paths no stored link is the last stretch"),
        (lambda links: "[{}]", "what leads to it cannot be read"),
        (lambda links: "{", "what leads to it cannot be read"),
        (lambda links: '[{"fault":0,"cause":"1","names":["WS"]}]', "cannot be read"),
        (lambda links: '[{"fault":0,"cause":1,"names":[]}]', "cannot be read"),
    ],
)
def test_a_link_that_leads_nowhere_is_found(recalled, edit, detail):
    # DESIGN section 5: every listed certificate has reason paths; nothing else guards the links.
    edit_links(recalled, edit)
    found = told(recalled)
    assert {one.subject for one in found} == {"R-00001 C-1"}
    assert any(detail in one.detail for one in found), found


def test_a_recall_from_before_links_were_kept_is_not_at_fault(recalled):
    with recalled.write() as session:
        session.execute(sa.update(RecallEntry).values(links=None))
    assert told(recalled) == []
