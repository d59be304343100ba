"""A fault drafted from a revision that puts the curve of the one before right."""

from __future__ import annotations

import pytest
from oracle_cases import cal, lab, row

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.recalls.fault_drafts import draft


@pytest.fixture
def drafted(database):
    """Draft of the fault that S-2 shows, a calibration of STD on 1 June."""

    def made(*results, before=None, **more):
        earlier = [cal("S-1", "STD", "01-10", [])] if before is None else before
        laboratory = lab(*earlier, cal("S-2", "STD", "06-01", [], list(results), **more))
        with database.write() as session:
            import_laboratory(session, LaboratorySchema().load(laboratory), 0)
            return draft(session, "S-2", None, None)

    return made


LINE = {"of": "force", "coefficients": ["0", "10"], "unit": "kN", "range": {"from": "5", "to": "9"}}
BENT = LINE | {"coefficients": ["0", "10", "0.01"]}


def revised(curve, before=LINE):
    """Draft of what revision 1 of S-2 shows; both have one result, in error by 0.1 kN at 10 kN."""
    told, now = ({} if one is None else {"curve": one} for one in (before, curve))
    first = cal("S-2", "STD", "06-01", [], [row("10", "0.1")], status="superseded", **told)
    return {"before": [first], "revision": 1, "amendment": "coefficients", **now}


def test_a_revision_that_changes_the_curve_drafts_the_fault_of_the_one_before(drafted):
    made = drafted(row("10", "0.1"), **revised(BENT))
    assert (
        made["fault"].items()
        >= {
            **{"certificate": "S-2", "revision": 0, "kind": "wrong_curve"},
            **{"coefficients_right": ["0", "10", "0.01"]},
        }.items()
    )
    assert not {"last_good_at", "isolated_at"} & made["fault"].keys()  # the certificate bounds it


@pytest.mark.parametrize(
    ("curve", "before"),
    [
        (LINE, LINE),
        (None, LINE),
        (LINE, None),
        (BENT | {"unit": "N"}, LINE),
        # The same numbers, written otherwise.
        (LINE | {"coefficients": ["0.0", "10.00", "0"]}, LINE),
    ],
)
def test_without_another_curve_the_errors_found_are_the_fault(drafted, curve, before):
    fault = drafted(row("10", "0.1"), **revised(curve, before))["fault"]
    assert fault["kind"] == "true_force_relative_error"


def test_a_draft_between_is_not_the_curve_that_was_used(drafted):
    other = LINE | {"coefficients": ["0", "11"]}
    between = cal("S-2", "STD", "06-01", [], [row("10", "0.1")], status="draft", curve=other)
    told = revised(BENT)
    told["before"].append(between | {"revision": 1, "amendment": "a slip"})
    fault = drafted(row("10", "0.1"), **told | {"revision": 2})["fault"]
    assert (fault["kind"], fault["revision"]) == ("wrong_curve", 0)
