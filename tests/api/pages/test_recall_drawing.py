"""The picture of a recall: bounded whatever its size, with the path of the chosen one lit."""

from __future__ import annotations

import re

import pytest

from api.pages.recall_drawing import picture
from api.services.evidence import evidence, page_part
from api.services.recalls import lists, recalls

CHOSEN = "/recalls/1?chosen=MV-25-0075&revision=0"


def drawn(database, number: int, chosen: str | None = None):
    with database.read() as session:
        stored = recalls.get(session, number)
        found = None if chosen is None else lists.entry_of(session, number, chosen, None, None)
        return page_part.drawn_part(session, stored, None if found is None else found[0])


def test_in_the_picture_the_path_of_the_chosen_certificate_stands_out(visitor):
    plain, lit = visitor.get("/recalls/1").text, visitor.get(CHOSEN).text
    # REF-500A to two certificates, and each of those to MV-25-0075.
    assert lit.count('class="link lit') == 4
    assert plain.count('class="link lit') == 0
    for said in ("REF-500A", "MV-25-0052", "MV-25-0055", "MV-25-0075"):
        assert re.search(rf'<g class="lit"><title>{said}', lit), said
    assert "What leads to MV-25-0075 is drawn heaviest" in lit


def test_the_file_of_the_picture_lights_the_same_path(visitor):
    plain = visitor.get("/recalls/1/figure.svg").text
    lit = visitor.get("/recalls/1/figure.svg?chosen=MV-25-0075&revision=0").text
    assert lit.count("stroke-width: 2;") + lit.count('stroke-width: 2"') == 4
    assert plain.count("stroke-width: 2;") + plain.count('stroke-width: 2"') == 0


@pytest.mark.parametrize("number", [1, 2])
def test_where_all_fits_everything_is_drawn_and_linked_as_in_the_evidence(
    database, number, monkeypatch
):
    monkeypatch.setattr(page_part, "MOST_DRAWN", 200)  # recall 2 has many that it cannot exclude
    part = drawn(database, number)
    assert part.not_drawn == 0
    named = {one.key: one for found in part.generations for one in found.named}
    links = {
        (part.known[cause].label, one.label)
        for key, one in named.items()
        for cause in part.causes[key]
    }
    with database.read() as session:
        graph = evidence.affected_graph(session, recalls.get(session, number))
    certificates = {n for n, facts in graph.nodes(data=True) if facts["kind"] == "certificate"}
    expected = {
        (graph.nodes[before]["label"], graph.nodes[node]["label"])
        for node in certificates
        for item in graph.predecessors(node)
        for before in graph.predecessors(item)
        if before in certificates
    }
    assert links == expected
    assert {one.label for one in named.values()} == {
        graph.nodes[node]["label"] for node in certificates
    }


def test_what_does_not_fit_is_counted_by_list_and_change_and_nothing_is_lost(
    database, visitor, monkeypatch
):
    monkeypatch.setattr(page_part, "MOST_DRAWN", 6)
    monkeypatch.setattr(page_part, "OWN_MERIT", 4)
    part = drawn(database, 1, "MV-25-0075")
    for one in part.generations:
        assert len(one.named) <= 6
        assert len(one.named) + one.rest.total() == one.total
        drawn_changes = sum(named.group[1] for named in one.named)
        counted = sum(many for (_, changes), many in one.rest.items() if changes)
        assert drawn_changes + counted == one.changes
    assert part.lit <= {named.key for one in part.generations for named in one.named}
    page = visitor.get(CHOSEN).text
    assert f"{part.not_drawn} are not drawn but counted below their column" in page
    assert page.count('class="link lit') == 4


def test_those_whose_verdict_changes_are_drawn_first(database, monkeypatch):
    monkeypatch.setattr(page_part, "MOST_DRAWN", 5)
    monkeypatch.setattr(page_part, "OWN_MERIT", 5)
    for one in drawn(database, 1).generations:
        changing = sum(named.group[1] for named in one.named)
        assert changing == min(5, one.changes)


def test_every_mark_of_the_picture_stands_on_its_sheet(database):
    made = picture(drawn(database, 2))
    for column in made.columns:
        for mark in column.marks:
            assert 0 <= mark.x <= mark.end <= made.width
            assert 0 <= mark.y <= made.height


def test_a_part_is_followed_through_the_assemblies_that_held_it(database):
    made = picture(drawn(database, 2))
    headings = [column.heading for column in made.columns]
    assert headings[:2] == ["faulty", "by way of"]
    assert {mark.label for mark in made.columns[1].marks} == {"ADP-22", "ADP-23"}


def test_a_recall_that_reached_nothing_has_no_picture(visitor, keys):
    fault = {"item": "REF-500A", "kind": "unknown"}
    fault |= {"last_good_at": "2000-01-01", "isolated_at": "2000-01-02"}
    answer = visitor.client.post("/v1/recalls", json={"fault": fault}, headers=keys.headers())
    assert answer.status_code == 201
    page = visitor.get("/recalls/3").text
    assert "The affected part" not in page
    assert "no certificates are affected" in page.lower()
