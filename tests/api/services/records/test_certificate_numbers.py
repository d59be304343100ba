"""Which certificate a number means, whatever holds its revisions."""

from __future__ import annotations

from typing import NamedTuple

import pytest

from api.errors import Conflict, NotFound
from api.services.records.certificate_numbers import of_one_issuer, the_one


class Revision(NamedTuple):
    """One revision; the newest stands first, as where they are read."""

    issuer: str
    revision: int
    status: str = "issued"


OWN = [Revision("", 1), Revision("", 0, "superseded")]
OUTER, OTHER = Revision("Outer Lab", 0), Revision("Other Lab", 0)


def test_the_laboratorys_own_certificate_goes_before_those_of_others():
    assert of_one_issuer([OUTER, *OWN, OTHER], "N-1") == OWN


def test_a_number_that_only_one_other_uses_is_its():
    assert of_one_issuer([OUTER], "N-1") == [OUTER]


def test_a_number_that_several_others_use_is_refused_with_their_names():
    with pytest.raises(Conflict) as caught:
        of_one_issuer([OUTER, OTHER], "N-1")
    (issue,) = caught.value.issues
    assert "issuer" in issue.remedy
    assert issue.value == "Other Lab, Outer Lab"


def test_the_issuer_that_is_named_is_meant():
    assert of_one_issuer([OUTER, *OWN, OTHER], "N-1", "Other Lab") == [OTHER]
    assert of_one_issuer([OUTER, *OWN], "N-1", "") == OWN
    with pytest.raises(NotFound, match="N-1"):
        of_one_issuer([*OWN, OTHER], "N-1", "Outer Lab")
    with pytest.raises(NotFound, match="N-1"):
        of_one_issuer([OUTER], "N-1", "")


def test_nothing_recorded_is_not_found():
    with pytest.raises(NotFound, match="N-1"):
        of_one_issuer([], "N-1")


def test_the_issued_revision_counts_even_where_a_newer_one_is_not_issued():
    draft = Revision("", 2, "draft")
    assert the_one([draft, *OWN], "N-1") == OWN[0]
    # None is issued: the newest.
    assert the_one([draft, OWN[1]], "N-1") == draft


def test_the_revision_that_is_named_is_meant():
    assert the_one(OWN, "N-1", 0) == OWN[1]
    with pytest.raises(NotFound, match=r"N-1.*7"):
        the_one(OWN, "N-1", 7)
