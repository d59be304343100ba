"""What is said of a fault leads to the field in which it was entered."""

from __future__ import annotations

import re

import pytest

from api.pages.fault_labels import labels
from api.schemas.fault_kinds import NEEDS
from api.schemas.faults import FaultSchema


def test_what_every_kind_needs_has_a_field_of_its_own(visitor):
    page = visitor.get("/recalls/new?item=REF-500A").text
    ids = set(re.findall(r'id="([^"]+)"', page))
    needed = {name for names in NEEDS.values() for name in names}
    places = {f"/fault/{name}" for name in needed}
    assert places <= labels(0).keys()
    assert {labels(0)[place][0] for place in places} <= ids
    assert needed <= FaultSchema().fields.keys()


@pytest.mark.parametrize("aside", [1, 3])
def test_with_faults_put_aside_the_last_one_is_that_of_the_form(aside):
    told = labels(aside)
    assert told[f"/faults/{aside}/coefficients_right"] == labels(0)["/fault/coefficients_right"]
    assert told["/faults/0"] == ("aside", "Put aside")
    assert told["/previous"] == labels(0)["/previous"]
