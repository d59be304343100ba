"""U in percent, terms and specifications in a row give what a single decision makes of them."""

from __future__ import annotations

import json
from decimal import Decimal

import polars as pl
import pytest

from api.rules.exact import plain
from api.rules.rule import BUILT_IN
from api.schemas.batches import row_fault
from api.schemas.decisions import NewDecisionSchema
from api.schemas.specifications import NewSpecificationSchema
from api.services.batches.columns import decide_frame
from api.services.decisions.decisions import requested_rule
from api.services.decisions.requests import decide_request
from api.services.decisions.specifications import specifications_from

PERCENT = [{"kind": "percent_of_reading", "value": "0.05"}]
MIXED = {
    "terms": [
        {"kind": "percent_of_nominal", "value": "0.1"},
        {"kind": "percent_of_full_scale", "value": "0.02"},
        {"kind": "digits_of_resolution", "value": "2"},
        {"kind": "absolute", "value": "0.01"},
    ],
    "combine": "rss",
}
SPECIFICATIONS = [
    {"id": "half", "unit": "N", "tolerance": "500"},
    {"id": "share", "tolerance": {"terms": PERCENT}},
    {"id": "skew", "unit": "kN", "tolerance": {"lower": "-0.2", "upper": "0.1"}},
]
SPECIFY = specifications_from(NewSpecificationSchema(many=True).load(SPECIFICATIONS))
ROW = {"value": "100.04", "unit": "kN", "U": "0.02", "nominal": "100", "tolerance": "0.05"}


def of(**cells: str) -> dict[str, str]:
    """The usual row with other cells, without those that are empty."""
    return {name: cell for name, cell in {**ROW, **cells}.items() if cell}


def decided(*rows: dict[str, str]):
    names = list(dict.fromkeys(name for row in rows for name in row))
    frame = pl.DataFrame(
        {name: [row.get(name) for row in rows] for name in names},
        schema=dict.fromkeys(names, pl.String),
    )
    return decide_frame(frame, BUILT_IN, BUILT_IN["guard_U"], row_fault, specify=SPECIFY)


def single(row: dict[str, str]):
    """The same row as a request for a single decision."""
    request = {name: cell for name, cell in row.items() if name not in ("terms", "specification")}
    if "terms" in row:
        terms = json.loads(row["terms"])
        request["tolerance"] = terms if isinstance(terms, dict) else {"terms": terms}
    loaded = NewDecisionSchema().load({**request, "rule": "guard_U"})
    return decide_request(None, loaded, requested_rule(None, loaded)[0]).decision


@pytest.mark.parametrize(
    "row",
    [
        of(U="", U_rel_pct="0.015"),
        of(U="", U_rel_pct="0.015", value="-100.04", nominal="-100"),
        of(tolerance="", terms=json.dumps(PERCENT)),
        of(tolerance="", terms=json.dumps(PERCENT), reading="99.9"),
        of(tolerance="", terms=json.dumps(MIXED), full_scale="500", resolution="0.002"),
        of(tolerance="", terms=json.dumps(PERCENT), value="0.04", nominal="0", unit="%"),
    ],
)
def test_a_row_gives_the_limits_verdict_and_risk_of_the_single_decision(row):
    # Beside the usual row, which has columns of its own.
    found, alone = decided(of(), row), single(row)
    assert not found.errors
    assert found.verdicts().to_list()[1] == alone.verdict
    for name, limit in (("lower", alone.acceptance.lower), ("upper", alone.acceptance.upper)):
        assert found.limits[f"acceptance_{name}"][1] == plain(limit)
    assert found.risks["specific_risk"][1] == pytest.approx(alone.specific_risk["consumer"])


@pytest.mark.parametrize(
    ("row", "lower", "upper"),
    [
        # 100 kN and 500 N on either side, w = U = 0.02 kN
        (of(tolerance="", specification="half"), "99.52", "100.48"),
        # An error of indication: no nominal
        (of(tolerance="", nominal="", value="0.04", specification="half"), "-0.48", "0.48"),
        # 0.05 % of 100.04 kN is 0.05002 kN
        (of(tolerance="", specification="share"), "99.96998", "100.03002"),
        (of(tolerance="", specification="skew"), "99.82", "100.08"),
        # Beside a tolerance or limits it is words, as in a single decision
        (of(specification="half, as agreed by letter"), "99.97", "100.03"),
        (of(tolerance="", nominal="", lower="99", specification="words"), "99.02", None),
    ],
)
def test_a_specification_gives_the_limits_where_the_row_has_none(row, lower, upper):
    found = decided(row)
    assert not found.errors
    limits = [limit if limit is None else Decimal(limit) for (limit,) in found.limits.values()]
    assert limits == [None if text is None else Decimal(text) for text in (lower, upper)]


@pytest.mark.parametrize(
    ("row", "field", "why"),
    [
        (of(U_rel_pct="0.1"), "U_rel_pct", "a second uncertainty"),
        (of(U="", U_rel_pct="-0.1"), "U_rel_pct", "-0.1 is smaller than 0"),
        (of(U="", U_rel_pct="x"), "U_rel_pct", "not a decimal number"),
        (of(U="", U_rel_pct="1", value="0"), "U_rel_pct", "U in percent of a value of 0"),
        (of(U="", U_rel_pct="1", unit="%"), "U_rel_pct", "U in percent of a value that is itself"),
        (of(terms=json.dumps(PERCENT)), "terms", "a tolerance is given too"),
        (of(tolerance="", terms="0.05 %"), "terms", "not a list of terms in JSON"),
        (of(tolerance="", terms=json.dumps(MIXED)), "terms", "needs the full scale"),
        (of(tolerance="", terms=json.dumps(PERCENT), nominal=""), "nominal", "a tolerance needs"),
        (of(tolerance="", terms=json.dumps(PERCENT), lower="9"), "terms", "limits and a tolerance"),
        (of(tolerance="", specification="none"), "specification", "'none' is not known; known:"),
        (of(tolerance="", specification="half", unit="V"), "specification", "half: "),
        (of(tolerance="", specification="half", value="nan"), "value", "not a decimal number"),
    ],
)
def test_what_cannot_be_worked_out_is_refused_in_its_row_alone(row, field, why):
    found = decided(of(), row)
    assert found.verdicts().to_list() == ["fail", None]
    assert list(found.errors) == [1]
    assert found.errors[1][0] == field
    assert why in found.errors[1][1]


def test_columns_of_floats_have_float_limits():
    frame = pl.DataFrame(
        {"value": [100.04], "U_rel_pct": [0.02], "lower": [99.9], "upper": [100.1]}
    )
    found = decide_frame(frame, BUILT_IN, BUILT_IN["guard_U"], row_fault)
    # 0.02 % of 100.04 is 0.020008
    assert found.limits["acceptance_upper"].to_list() == [100.079992]
    assert found.verdicts().to_list() == ["pass"]
