"""Names must exist, and no calibration may come to rest on itself, however it is recorded."""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, ref

from api.errors import InvalidRecord, UnknownReference
from api.schemas.imports import LaboratorySchema
from api.services.certificates import in_force
from api.services.imports.imports import import_laboratory

LATE = {"performed_at": "2025-05-01T00:00:00Z"}
# A-1 used Y in May, when B-1 was in force for it; B-1 used Z, which nobody had calibrated yet.
BEFORE = lab(
    cal("A-1", "X", "01-01", [ref("Y", **LATE)]),
    cal("B-1", "Y", "03-01", [ref("Z")]),
)
CLOSING = cal("C-1", "Z", "02-01", [ref("X")])


@pytest.fixture(params=["few", "many"])
def search(request, monkeypatch):
    """Both ways of looking for a circle."""
    if request.param == "many":
        monkeypatch.setattr(in_force, "FEW", 0)


def put(database, *calibrations, **more):
    made = lab(*calibrations, **more)
    with database.write() as session:
        return import_laboratory(session, LaboratorySchema().load(made), 0)


@pytest.mark.usefixtures("search")
def test_a_circle_over_links_that_were_there_before_is_found(database):
    put(database, *BEFORE["calibrations"])
    # Each new link points back in time; the one that does not, A-1 on B-1, was there before.
    with pytest.raises(InvalidRecord) as caught:
        put(database, CLOSING)
    (issue,) = caught.value.issues
    assert issue.pointer == "/calibrations"
    assert all(number in issue.detail for number in ("A-1", "B-1", "C-1"))


@pytest.mark.usefixtures("search")
def test_a_circle_within_one_file_is_found(database):
    with pytest.raises(InvalidRecord, match="nothing stored"):
        put(database, *BEFORE["calibrations"], CLOSING)


@pytest.mark.usefixtures("search")
def test_a_circle_through_what_only_confirmed_limits_is_found(database):
    confirmed = cal("B-1", "Y", "03-01", [ref("X")], assigns_value=False)
    with pytest.raises(InvalidRecord, match="nothing stored"):
        put(database, cal("A-1", "X", "01-01", [ref("Y", **LATE)]), confirmed)


@pytest.mark.usefixtures("search")
def test_calibrating_each_other_years_apart_is_lawful(database):
    answer = put(
        database,
        cal("A-1", "X", "2020-01-01T00:00:00Z", []),
        cal("B-1", "Y", "2021-01-01T00:00:00Z", [ref("X")]),
        cal("A-2", "X", "2022-01-01T00:00:00Z", [ref("Y")]),
        cal("B-2", "Y", "2023-01-01T00:00:00Z", [ref("X")]),
    )
    assert answer["created"]["calibrations"] == 4


@pytest.mark.usefixtures("search")
def test_a_use_after_the_calibration_itself_is_lawful_without_a_circle(database):
    assert put(database, *BEFORE["calibrations"])["created"]["calibrations"] == 2


def test_naming_the_certificate_that_was_used_undoes_a_circle_by_date(database):
    # By date each would rest on the other, since a bare date is a whole day.
    day = "2025-03-01"
    first = [cal("A-0", "X", "01-01", []), cal("A-1", "X", day, [ref("Y")])]
    with pytest.raises(InvalidRecord):
        put(database, *first, cal("B-1", "Y", day, [ref("X")]))
    answer = put(database, *first, cal("B-1", "Y", day, [ref("X", certificate="A-0")]))
    assert answer["created"]["calibrations"] == 3


@pytest.mark.parametrize(
    "named",
    [
        {"certificate": "A-9"},
        {"certificate": "A-1", "revision": 1},
        {"certificate": "D-1"},  # a draft: without revision an issued one is meant
        {"certificate": "B-0"},  # of another item
    ],
)
def test_a_name_that_leads_nowhere_is_refused(database, named):
    put(
        database,
        cal("A-1", "X", "01-01", []),
        cal("D-1", "X", "01-02", [], status="draft"),
        cal("B-0", "Y", "01-03", []),
    )
    with pytest.raises(UnknownReference) as caught:
        put(database, cal("C-1", "Z", "02-01", [ref("X", **named)]))
    (issue,) = caught.value.issues
    assert issue.pointer == "/calibrations/0/uses/0/certificate"
    assert issue.remedy
    # Named with its revision a draft is found.
    draft = ref("X", certificate="D-1", revision=0)
    assert put(database, cal("C-1", "Z", "02-01", [draft]))["created"]["calibrations"] == 1
