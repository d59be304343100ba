"""Items that could have the same thing wrong: suggested with reasons, most in common first."""

from __future__ import annotations

import pytest
from oracle_cases import cal

from api.schemas.imports import LaboratorySchema
from api.services.casework.similar_items import suggest
from api.services.imports.imports import import_laboratory
from api.store.tables import Recall


def pin(code, kind="adapter_part", type="pin", **properties):
    made = {"id": code, "kind": kind, "type": type, "properties": properties}
    return {name: value for name, value in made.items() if value is not None}


def outer(number, item, day="01-10", issuer="Outer Lab", **more):
    return cal(number, item, day, [], external=True, issuer=issuer, **more)


@pytest.fixture
def suggested(database):
    """Record items and calibrations, and return what is suggested beside faulty ones."""

    def found(items, *calibrations, faulty=("PIN",)):
        with database.write() as session:
            laboratory = {"items": items, "calibrations": list(calibrations)}
            import_laboratory(session, LaboratorySchema().load(laboratory), 0)
            faults = [{"item": code, "kind": "unknown"} for code in faulty]
            return suggest(session, Recall(faults=faults))

    return found


def test_what_shares_most_stands_first_with_each_reason_in_words(suggested):
    found = suggested([
        pin("PIN", batch="H-77", supplier="Forge"),
        pin("A", supplier="Forge"),
        pin("B", batch="H-77", supplier="Forge"),
        pin("C", batch="H-78", supplier="Other"),
    ])  # fmt: skip
    assert [one["item"] for one in found] == ["B", "A"]
    assert found[0] == {
        "item": "B",
        "kind": "adapter_part",
        "type": "pin",
        "reasons": ["the same batch (H-77) as PIN", "the same supplier (Forge) as PIN"],
    }


def test_only_items_of_the_same_kind_and_type_are_alike(suggested):
    found = suggested([
        pin("PIN", batch="H-77"),
        pin("SHACKLE", type="shackle", batch="H-77"),
        pin("ADP", kind="adapter", batch="H-77"),
        pin("UNTYPED", type=None, batch="H-77"),
    ])  # fmt: skip
    assert found == []


def test_items_without_a_type_are_alike_among_themselves(suggested):
    found = suggested([
        pin("PIN", type=None, batch="H-77"),
        pin("A", type=None, batch="H-77"),
        pin("B", batch="H-77"),
    ])  # fmt: skip
    assert [one["item"] for one in found] == ["A"]


def test_what_is_not_known_of_either_is_nothing_in_common(suggested):
    assert suggested([pin("PIN", batch="", supplier=None), pin("A", batch="", supplier=None)]) == []


def test_the_faulty_items_themselves_are_not_suggested_and_each_gives_its_reason(suggested):
    items = [pin(code, batch="H-77") for code in ("PIN", "PIN-2", "A")]
    (found,) = suggested(items, faulty=("PIN", "PIN-2"))
    assert found["item"] == "A"
    assert found["reasons"] == ["the same batch (H-77) as PIN", "the same batch (H-77) as PIN-2"]


def test_items_calibrated_by_the_same_external_laboratory_are_told_once(suggested):
    items = [pin(code) for code in ("PIN", "A", "B", "C")]
    found = suggested(
        items,
        outer("X-1", "PIN"), outer("X-2", "PIN", "02-10"),
        outer("X-3", "A"), outer("X-4", "A", "02-10"),
        outer("X-5", "B", issuer="Other Lab"),
        cal("X-6", "C", "01-10", []),
    )  # fmt: skip
    assert [(one["item"], one["reasons"]) for one in found] == [
        ("A", ["calibrated by the same external laboratory, Outer Lab, as PIN"])
    ]


def test_the_same_external_certificate_says_more_than_the_same_laboratory(suggested):
    items = [pin(code) for code in ("PIN", "A")]
    found = suggested(
        items,
        outer("X-1", "PIN"), outer("X-2", "PIN", "02-10"),
        outer("X-2", "A", "02-10", revision=1, status="superseded"),
    )  # fmt: skip
    assert found[0]["reasons"] == ["calibrated under the same external certificate, X-2, as PIN"]


def test_a_fault_of_a_certificate_or_method_suggests_nothing(database):
    with database.read() as session:
        faults = [{"certificate": "C-1", "kind": "unknown"}, {"method": "M", "kind": "unknown"}]
        assert suggest(session, Recall(faults=faults)) == []
