"""The documentation pages work without the internet."""

from __future__ import annotations

import re

from api.pages.docs import METHODS, operations, prose, schema_type
from api.schemas.fault_kinds import NEEDS
from graph.lists import LISTS


def test_every_operation_is_shown_with_its_scope(client):
    document = client.get("/v1/openapi.json").get_json()
    page = client.get("/v1/docs").text
    shown = list(operations(document))
    assert len(shown) == sum(m in entry for entry in document["paths"].values() for m in METHODS)
    for operation in shown:
        assert f'id="{operation["anchor"]}"' in page
        assert operation["summary"]
    assert page.count("Needs the scope <strong>admin</strong>") >= 4


def test_anchors_are_unique_and_links_within_the_page_lead_somewhere(client):
    page = client.get("/v1/docs").text
    anchors = re.findall(r'\bid="([^"]+)"', page)
    assert len(anchors) == len(set(anchors))
    assert set(re.findall(r'href="#([^"]+)"', page)) <= set(anchors)


def test_nothing_is_loaded_from_elsewhere(app, client):
    page = client.get("/v1/docs").text
    assert re.findall(r'(?:src|href)="(?:https?:)?//', page) == []
    assert "<script" not in page
    (sheet,) = re.findall(r'<link rel="stylesheet" href="([^"]+)"', page)
    with app.test_client().get(sheet) as style:
        assert style.status_code == 200
        assert "url(" not in style.text


def test_the_page_carries_the_caution(client):
    page = client.get("/v1/docs").text
    assert "Stay within the rated capacity of the weakest part" in page
    assert "says that a set-up is safe" in page


def test_types_are_said_in_words():
    assert schema_type({"type": ["string", "null"], "format": "decimal"}) == (
        "string or null (decimal)"
    )
    assert "#schema-Key" in schema_type({"type": "array", "items": {"$ref": "#/x/Key"}})
    assert schema_type({"type": "string", "enum": ["a", "<b>"]}) == "string: a, &lt;b&gt;"


def test_prose_is_escaped():
    assert prose("a <b> **c** `d`\n\ne") == (
        "<p>a &lt;b&gt; <strong>c</strong> <code>d</code></p>\n<p>e</p>"
    )


def test_a_list_in_prose_is_a_list():
    # CommonMark 0.31.2, 5.2: a line that begins with a hyphen and a space is an item of a list,
    # and an indented line goes on with it.
    assert prose("a\n\n- b `c`\n  d\n- <e> - f") == (
        "<p>a</p>\n<ul><li>b <code>c</code>\n  d</li><li>&lt;e&gt; - f</li></ul>"
    )


def test_every_kind_of_fault_and_every_list_of_an_answer_is_explained(client):
    document = client.get("/v1/openapi.json").get_json()
    (about,) = (tag["description"] for tag in document["tags"] if tag["name"] == "recalls")
    assert {*NEEDS, *LISTS} <= set(re.findall(r"`(\w+)`", about))
    page = client.get("/v1/docs").text
    assert all(f"<li><code>{kind}</code>: " in page for kind in NEEDS)
