"""Shapes of a decision request."""

from __future__ import annotations

from decimal import Decimal

import pytest
from marshmallow import ValidationError

from api.schemas.decision_parts import LimitField
from api.schemas.decision_rules import RuleField
from api.schemas.decisions import NewDecisionSchema
from api.schemas.specifications import ToleranceField


def test_a_limit_loads_with_its_digits_and_with_the_unit_it_was_given():
    assert LimitField().deserialize("9.00") == {"value": Decimal("9.00")}
    found = LimitField().deserialize({"value": Decimal("1.50"), "unit": "kip"})
    assert (str(found["value"]), found["unit"]) == ("1.50", "kip")


def test_a_rule_is_an_id_a_version_of_it_or_an_object():
    assert RuleField().deserialize("simple") == {"id": "simple"}
    assert RuleField().deserialize({"id": "x", "version": 2}) == {"id": "x", "version": 2}
    found = RuleField().deserialize({"guard": {"basis": "U", "factor": "0.83"}, "zones": 4})
    assert found == {"guard": {"basis": "U", "factor": Decimal("0.83")}, "zones": 4}


def test_a_rule_object_cannot_pass_for_a_recorded_rule():
    with pytest.raises(ValidationError) as refused:
        RuleField().deserialize({"id": "guard_U", "guard": {"basis": "none"}})
    assert "id" in refused.value.messages


def test_a_text_is_a_specification_only_where_one_may_stand():
    field = ToleranceField(by_id=True)
    assert field.deserialize("0.50") == Decimal("0.50")
    assert field.deserialize("OURS-7") == {"specification": "OURS-7"}
    with pytest.raises(ValidationError):
        ToleranceField().deserialize("OURS-7")


def test_a_decision_is_stored_unless_it_says_otherwise():
    request = {
        "value": "1",
        "U": "0.1",
        "unit": "N",
        "limits": {"upper": "2", "lower": None},
        "rule": "simple",
    }
    loaded = NewDecisionSchema().load(request)
    assert loaded["store"] is True
    assert loaded["limits"] == {"upper": {"value": Decimal(2)}, "lower": None}
