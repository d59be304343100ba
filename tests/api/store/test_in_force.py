"""What was in force for a use: the latest issued value, ties, names, and what only confirmed."""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, ref
from sqlalchemy import select
from sqlalchemy.orm import aliased

from api.errors import UnknownReference
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.store.in_force import resolve_items, unresolved
from api.store.links import certificate_in_force
from api.store.reading import SessionReader
from api.store.serving import refresh
from api.store.tables import Certificate, Item, Usage

ROOT = {"external": True}


def resolved(database, *calibrations, **more):
    """(source, evidence) of the one use of C-1, each as number and revision."""
    made = lab(*calibrations) | more
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(made), 0)
    return links(database)


def links(database):
    user, source, evidence = aliased(Certificate), aliased(Certificate), aliased(Certificate)
    with database.read() as session:
        (row,) = session.execute(
            select(source.number, source.revision, evidence.number, evidence.revision)
            .select_from(Usage)
            .join(user, user.id == Usage.certificate_id)
            .outerjoin(source, source.id == Usage.source_id)
            .outerjoin(evidence, evidence.id == Usage.evidence_id)
            .where(user.number == "C-1")
        ).all()
    pairs = (row[:2], row[2:])
    return tuple(None if pair[0] is None else f"{pair[0]}/{pair[1]}" for pair in pairs)


def ws(number, at, **more):
    return cal(number, "WS", at, [], **more)


C = cal("C-1", "A", "03-01", [ref("WS")])


CASES = [
    ([], None, None),
    ([ws("W-1", "02-01"), ws("W-2", "02-15")], "W-2/0", None),
    ([ws("W-2", "03-02"), ws("W-1", "02-01")], "W-1/0", None),
    # at the very instant of the use
    ([ws("W-1", "03-01")], "W-1/0", None),
    # one instant: the highest revision, then the last number
    ([ws("W-1", "02-01", status="superseded"), ws("W-1", "02-01", revision=1)], "W-1/1", None),
    ([ws("W-1", "02-01", revision=3), ws("W-2", "02-01")], "W-1/3", None),
    ([ws("W-1", "02-01"), ws("W-2", "02-01")], "W-2/0", None),
    # not issued
    ([ws("W-1", "02-01"), ws("W-2", "02-15", status="draft")], "W-1/0", None),
    ([ws("W-1", "02-01"), ws("W-2", "02-15", status="voided")], "W-1/0", None),
    # a later one that only confirmed limits stands beside the value
    ([ws("W-1", "02-01"), ws("W-2", "02-15", assigns_value=False)], "W-1/0", "W-2/0"),
    ([ws("W-1", "02-15"), ws("W-2", "02-01", assigns_value=False)], "W-1/0", None),
    ([ws("W-2", "02-01", assigns_value=False)], None, "W-2/0"),
]


@pytest.mark.parametrize(("calibrations", "source", "evidence"), CASES)
def test_the_value_in_force_by_date(database, calibrations, source, evidence):
    assert resolved(database, C, *calibrations) == (source, evidence)


@pytest.mark.parametrize(("calibrations", "source", "evidence"), CASES)
def test_what_is_recorded_later_changes_the_value_of_earlier_records(
    database, calibrations, source, evidence
):
    resolved(database, C)
    for one in calibrations:
        resolved(database, one)
    assert links(database) == (source, evidence)


def void(number, at, **more):
    return ws(number, at, status="voided", **more)


def old(number, at, **more):
    return ws(number, at, status="superseded", **more)


NOON = {"issued_at": "2025-03-01T12:00:00Z"}
TENSION, COMPRESSION = {"mode": "tension"}, {"mode": "compression"}
# The use of C-1 is at 2025-03-01T10:00:00Z. Worked by hand: a certificate serves until the instant
# of its void, the earlier revision until the later one's issue, and at that instant the new state
# holds; a certificate of the other mode is none (the recall semantics, "what a use rested on").
AT_ITS_TIME = {
    "voided after the use": ([void("W-1", "02-01", voided_at="2025-03-02")], "W-1/0", None),
    "voided before the use": (
        [ws("W-1", "02-01"), void("W-2", "02-15", voided_at="2025-02-20")],
        "W-1/0",
        None,
    ),
    "voided at the instant of the use": (
        [void("W-1", "02-01", voided_at="2025-03-01T10:00:00Z")],
        None,
        None,
    ),
    "voided a microsecond later": (
        [void("W-1", "02-01", voided_at="2025-03-01T10:00:00.000001Z")],
        "W-1/0",
        None,
    ),
    "the day of the use, in the laboratory's zone: it may have been used before": (
        [void("W-1", "02-01", voided_at="2025-03-01")],
        "W-1/0",
        None,
    ),
    "revised after the use": (
        [old("W-1", "02-01"), ws("W-1", "02-01", revision=1, **NOON)],
        "W-1/0",
        None,
    ),
    "revised at the instant of the use": (
        [old("W-1", "02-01"), ws("W-1", "02-01", revision=1, issued_at="2025-03-01T10:00:00Z")],
        "W-1/1",
        None,
    ),
    "revised after the use, and then voided": (
        [old("W-1", "02-01"), void("W-1", "02-01", revision=1, voided_at="2025-04-01", **NOON)],
        "W-1/0",
        None,
    ),
    "the revision was voided before the use: the one before does not come back": (
        [
            ws("W-0", "01-05"),
            old("W-1", "02-01"),
            void("W-1", "02-01", revision=1, issued_at="2025-02-10", voided_at="2025-02-20"),
        ],
        "W-0/0",
        None,
    ),
    "what confirmed limits and was voided later": (
        [ws("W-1", "02-01"), void("W-2", "02-15", assigns_value=False, voided_at="2025-04-01")],
        "W-1/0",
        "W-2/0",
    ),
    "the certificate of the other mode": (
        [ws("W-1", "02-01", **TENSION), ws("W-2", "02-02", **COMPRESSION)],
        "W-1/0",
        None,
    ),
    "without a mode it is for both": (
        [ws("W-1", "02-01", **TENSION), ws("W-2", "02-02")],
        "W-2/0",
        None,
    ),
    "only one of the other mode": ([ws("W-2", "02-02", **COMPRESSION)], None, None),
    "limits confirmed in the other mode": (
        [ws("W-1", "02-01", **TENSION), ws("W-2", "02-02", assigns_value=False, **COMPRESSION)],
        "W-1/0",
        None,
    ),
    "limits confirmed in this mode": (
        [ws("W-1", "02-01", **TENSION), ws("W-2", "02-02", assigns_value=False, **TENSION)],
        "W-1/0",
        "W-2/0",
    ),
}


@pytest.mark.parametrize("case", AT_ITS_TIME)
def test_the_value_is_that_of_the_time_of_use(database, case):
    calibrations, source, evidence = AT_ITS_TIME[case]
    assert resolved(database, C | TENSION, *calibrations) == (source, evidence)
    with database.read() as session:
        assert unresolved(session) == []


@pytest.mark.parametrize("case", AT_ITS_TIME)
def test_it_is_the_same_when_its_certificates_are_recorded_later_one_by_one(database, case):
    calibrations, source, evidence = AT_ITS_TIME[case]
    resolved(database, C | TENSION)
    for one in calibrations:
        resolved(database, one)
    assert links(database) == (source, evidence)


def test_a_use_without_mode_takes_the_latest_of_any(database):
    calibrations = ws("W-1", "02-01", **TENSION), ws("W-2", "02-02", **COMPRESSION)
    assert resolved(database, C, *calibrations) == ("W-2/0", None)


def test_a_named_certificate_is_followed_whatever_its_mode(database):
    user = cal("C-1", "A", "03-01", [ref("WS", certificate="W-2")], **TENSION)
    calibrations = ws("W-1", "02-01", **TENSION), ws("W-2", "02-02", **COMPRESSION)
    assert resolved(database, user, *calibrations) == ("W-2/0", None)


def test_a_name_without_revision_may_mean_what_served_then_and_was_voided_since(database):
    user = cal("C-1", "A", "03-01", [ref("WS", certificate="W-1")])
    since = [old("W-1", "02-01"), void("W-1", "02-01", revision=1, voided_at="2025-05-01", **NOON)]
    assert resolved(database, user, *since) == ("W-1/0", None)


def test_a_name_without_revision_of_what_was_never_in_force_is_not_found(database):
    user = cal("C-1", "A", "03-01", [ref("WS", certificate="W-1")])
    with pytest.raises(UnknownReference):
        resolved(database, user, void("W-1", "02-01", voided_at="2025-02-10"))


@pytest.mark.parametrize(
    ("mode", "number"), [(None, "W-2"), ("tension", "W-1"), ("compression", "W-2")]
)
def test_one_item_at_one_instant_in_a_mode(database, mode, number):
    resolved(database, C, ws("W-1", "02-01", **TENSION), ws("W-2", "02-02", **COMPRESSION))
    with database.read() as session:
        item = session.scalars(select(Item.id).where(Item.code == "WS")).one()
        used = session.scalars(select(Usage)).one()
        found = certificate_in_force(SessionReader(session), item, used.used_end_us, mode)
        assert session.get(Certificate, found).number == number


@pytest.mark.parametrize(
    ("performed", "used", "found"),
    [
        # A calibration counts from the start of its day, a use to the end of its own.
        ("2025-03-01", "2025-03-01T00:00:00Z", True),
        ("2025-03-01", "2025-02-28T23:59:59.999999Z", False),
        ("2025-03-01T23:59:59Z", "2025-03-01", True),
        ("2025-03-02T00:00:00Z", "2025-03-01", False),
        ("2025-03-01", "2025-03-01", True),
    ],
)
def test_bare_dates(database, performed, used, found):
    source, _ = resolved(database, C | {"performed_at": used}, ws("W-1", performed))
    assert (source is not None) is found


def test_the_instant_of_the_use_itself_goes_before_that_of_the_calibration(database):
    own = cal("C-1", "A", "03-01", [ref("WS", performed_at="2025-01-20T00:00:00Z")])
    assert resolved(database, own, ws("W-0", "01-10"), ws("W-1", "02-01"))[0] == "W-0/0"


@pytest.mark.parametrize(
    ("named", "source"),
    [
        ({"certificate": "W-1"}, "W-1/0"),
        ({"certificate": "W-3", "revision": 0}, "W-3/0"),
        ({"certificate": "W-3"}, "W-3/1"),
        ({"certificate": "W-4", "revision": 0}, "W-4/0"),
    ],
)
def test_a_named_certificate_is_followed_whatever_its_date_or_status(database, named, source):
    calibrations = [
        ws("W-1", "01-10"),
        ws("W-2", "02-01"),
        ws("W-3", "05-01", status="superseded"),
        ws("W-3", "05-01", revision=1),
        ws("W-4", "02-02", status="voided"),
    ]
    user = cal("C-1", "A", "03-01", [ref("WS", **named)])
    assert resolved(database, user, *calibrations) == (source, None)


def test_a_change_of_status_is_seen_when_the_item_is_resolved_again(database):
    assert resolved(database, C, ws("W-1", "01-10"), ws("W-2", "02-01"))[0] == "W-2/0"
    with database.write() as session:
        item = session.scalars(select(Item.id).where(Item.code == "WS")).one()
        session.scalars(
            select(Certificate).where(Certificate.number == "W-2")
        ).one().status = "voided"
        assert refresh(session, [("", "W-2")]) == {item}
        resolve_items(session, [item])
    assert links(database)[0] == "W-1/0"


def test_one_item_at_one_instant_gives_the_same_certificate_as_a_use_then(database):
    resolved(database, C, ws("W-1", "01-10"), ws("W-2", "02-01", revision=2), ws("W-3", "02-01"))
    with database.read() as session:
        item = session.scalars(select(Item.id).where(Item.code == "WS")).one()
        used = session.scalars(select(Usage).where(Usage.item_id == item)).one()
        assert (
            certificate_in_force(SessionReader(session), item, used.used_end_us) == used.source_id
        )
        assert certificate_in_force(SessionReader(session), item, 0) is None
