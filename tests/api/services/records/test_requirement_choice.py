"""Which requirement counts for an instrument: the most specific one, and never another model's.

That pin lists are kept by model, and that neighbouring models of one capacity take different pins,
is common practice, no source. Models and pins here are invented: of the make Quill, L-20 takes a
pin of 2 in and L-20S one of 50 mm, both rated 20 kip.
"""

from __future__ import annotations

import json

import pytest

LINKS = [
    {"id": "A", "make": "Quill", "model": "L-20", "capacity": "20 kip"},
    {"id": "B", "make": "quill", "model": " l-20s ", "capacity": "20000 lbf"},
    {"id": "C", "make": "Quill", "model": "L-25", "capacity": "20 kip"},
    {"id": "D", "make": "Tarn", "model": "L-20", "capacity": "20 kip"},
    {"id": "E", "properties": {"manufacturer": "Quill", "model": "L-20"}, "capacity": "50 kip"},
    {"id": "F", "capacity": "20 kip"},
]


def requirement(code, pin, **applies_to):
    return {"id": code, "applies_to": applies_to, "pin": {"diameter": pin}, "source": "leaf 3"}


BY_MODEL = [
    requirement("q-l20", "2 in", make="Quill", model="L-20"),
    requirement("q-l20s", "50 mm", make="Quill", model="L-20S"),
    requirement("any-20", "51 mm", type="tension_link", capacity="20 kip"),
]


@pytest.fixture
def shop(client):
    """A laboratory with links of several models, and pin lists by model."""
    kind = {"kind": "customer_instrument", "type": "tension_link"}
    items = [one | kind for one in LINKS]
    sent = {"items": items, "requirements": BY_MODEL}
    answer = client.post("/v1/imports", json=sent)
    assert answer.get_json()["created"]["requirements"] == 3
    return client


def checked(shop, status=201, **setup):
    answer = shop.post("/v1/setup-checks", json=setup | {"at": "2025-06-01T12:00:00Z"})
    assert answer.status_code == status, answer.text
    return json.loads(answer.text)


@pytest.mark.parametrize(
    ("item", "code", "taken_by"),
    [
        ("A", "q-l20", "make_model"),
        ("B", "q-l20s", "make_model"),  # but for case and spacing
        ("C", "any-20", "type_capacity"),
        ("D", "any-20", "type_capacity"),  # the same model of another maker
        ("E", "q-l20", "make_model"),  # as older records say it
        ("F", "any-20", "type_capacity"),
    ],
)
def test_the_most_specific_counts_and_the_answer_says_which_and_why(shop, item, code, taken_by):
    taken = checked(shop, instrument=item)["requirement"]
    assert (taken["id"], taken["taken_by"]) == (code, taken_by)
    assert taken["why"].startswith("it is recorded for its ")
    (best,) = shop.get(f"/v1/requirements?best_for={item}").get_json()["items"]
    assert best["id"] == code


def test_capacity_makes_a_model_more_specific_and_the_item_itself_most(shop):
    shop.post(
        "/v1/requirements",
        json=requirement("a50", "3 in", make="QUILL", model="l-20", capacity="50 kip"),
    )
    assert checked(shop, instrument="E")["requirement"]["taken_by"] == "make_model_capacity"
    assert checked(shop, instrument="A")["requirement"]["id"] == "q-l20"
    shop.post("/v1/requirements", json=requirement("own", "3 in", item="E"))
    assert checked(shop, instrument="E")["requirement"]["taken_by"] == "item"


def test_a_model_without_a_list_of_its_own_is_said_and_its_neighbours_are_named(shop):
    answer = checked(shop, instrument="C")
    (note,) = answer["requirement_notes"]
    assert note.startswith(
        "No requirement is recorded for Quill L-25; those of other models of Quill"
    )
    assert "L-20 (q-l20), L-20S (q-l20s), are not taken" in note
    (found,) = [one for one in answer["findings"] if one["check"] == "requirement"]
    assert found["outcome"] == "not_checked"
    assert (
        "requirement any-20 version 1, recorded for its type and rated capacity"
        in found["sentence"]
    )
    assert "Force rigs injure people." in answer["cautions"]
    for item in "ABDEF":
        assert checked(shop, instrument=item)["requirement_notes"] == []


def test_nothing_of_a_neighbour_is_taken_where_nothing_else_is_recorded(client):
    items = [{"id": "C", "kind": "customer_instrument", "make": "Quill", "model": "L-25"}]
    client.post("/v1/imports", json={"items": items, "requirements": BY_MODEL[:2]})
    answer = checked(client, instrument="C")
    assert answer["requirement"] is None
    (found,) = [one for one in answer["findings"] if one["check"] == "requirement"]
    assert "No requirement is recorded for C" in found["sentence"]
    assert "are not taken: neighbouring models take different pins" in found["sentence"]


def test_a_type_that_is_planned_may_say_its_make_and_model(shop):
    planned = {"type": "tension_link", "capacity": "20 kip", "make": "Quill", "model": "L-20S"}
    assert checked(shop, **planned)["requirement"]["id"] == "q-l20s"
    refused = checked(shop, 422, type="tension_link", model="L-20S")
    assert refused["errors"][0]["pointer"] == "/model"


def test_two_that_count_alike_are_named_and_naming_one_settles_it(shop):
    shop.post("/v1/requirements", json=requirement("other", "50 mm", make="quill", model="l-20"))
    refused = checked(shop, 422, instrument="A")
    (issue,) = refused["errors"]
    assert issue["pointer"] == "/requirement"
    assert issue["detail"] == 'requirements "other" and "q-l20" count alike, by its make and model'
    taken = checked(shop, instrument="A", requirement="q-l20")["requirement"]
    assert (taken["taken_by"], taken["why"]) == ("named", "the request names it")
