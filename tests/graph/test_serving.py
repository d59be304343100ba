"""When a revision serves, by the instants of its issue and void.

Expected intervals are worked by hand from the rules: from (inclusive) until (exclusive), and at the
very instant of a void or an issue the new state holds (the laboratory's recall semantics, section
"what a use rested on").
"""

from __future__ import annotations

import pytest

from graph.serving import NEVER, Revision, Serves, serving

DONE = 100


def revision(number=0, status="issued", issued=None, voided=None, **more):
    return Revision(number, status, DONE, issued, voided, **more)


OPEN = Serves(DONE, None)
CASES = {
    "an issued one, whatever its date of issue": ([revision(issued=140)], [OPEN]),
    "a draft": ([revision(status="draft")], [NEVER]),
    "a void with its instant": ([revision(status="voided", voided=150)], [Serves(100, 150)]),
    "a void without": ([revision(status="voided", issued=140)], [NEVER]),
    "a void at the instant of the calibration": (
        [revision(status="voided", voided=DONE)],
        [NEVER],
    ),
    "a draft that was voided": (
        [revision(status="voided", voided=150, never_issued=True)],
        [NEVER],
    ),
    "superseded by one with a date": (
        [revision(0, "superseded", 110), revision(1, issued=150)],
        [Serves(100, 150), Serves(150, None)],
    ),
    "superseded by one without": (
        [revision(0, "superseded", 110), revision(1)],
        [NEVER, OPEN],
    ),
    "superseded by what is not recorded": ([revision(0, "superseded", 110)], [NEVER]),
    "a draft changes nobody": (
        [revision(0), revision(1, "draft", 150)],
        [OPEN, NEVER],
    ),
    "the first that was issued is the first": (
        [revision(0, "draft"), revision(1, issued=150)],
        [NEVER, OPEN],
    ),
    "the last revision voided: the one before does not come back": (
        [revision(0, "superseded"), revision(1, "voided", 150, 180)],
        [Serves(100, 150), Serves(150, 180)],
    ),
    "the last revision voided at an unknown instant": (
        [revision(0, "superseded"), revision(1, "voided", 150)],
        [Serves(100, 150), NEVER],
    ),
    "voided, then revised": (
        [revision(0, "voided", voided=130), revision(1, issued=150)],
        [Serves(100, 130), Serves(150, None)],
    ),
    "superseded, then voided as well": (
        [revision(0, "voided", voided=190), revision(1, issued=150)],
        [Serves(100, 150), Serves(150, None)],
    ),
    "three, one without date": (
        [revision(0, "superseded"), revision(1, "superseded"), revision(2, issued=150)],
        [NEVER, Serves(100, 150), Serves(150, None)],
    ),
    "issued out of order: nobody serves after a later one": (
        [revision(0, "superseded"), revision(1, "superseded", 170), revision(2, issued=150)],
        [Serves(100, 150), NEVER, Serves(150, None)],
    ),
    "issued beside a void of a higher number, as before": (
        [revision(0), revision(1, "voided")],
        [OPEN, NEVER],
    ),
    "a revision of a later calibration, as before": (
        [revision(0, "superseded"), Revision(1, "issued", 160)],
        [NEVER, Serves(160, None)],
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_when_each_revision_serves(case):
    revisions, expected = CASES[case]
    assert serving(revisions) == expected
    assert serving(revisions[::-1]) == expected[::-1]
