"""An uncertainty budget as it is answered, stored and listed; a ready component as explained."""

from __future__ import annotations

from typing import Any

from marshmallow import Schema, fields

from api.schemas.cmcs import BelowCmcSchema


def _number(description: str | None = None, *, null: bool = False, **more: Any) -> fields.String:
    metadata = {"format": "decimal"} | ({} if description is None else {"description": description})
    return fields.String(allow_none=null, metadata=metadata, **more)


class BudgetValueAnswerSchema(Schema):
    """The point, in its unit."""

    value = _number(required=True)
    unit = fields.String(required=True)


class BudgetComponentAnswerSchema(Schema):
    """A component, the input's u in `unit`, and its contribution |c| u in the point's unit."""

    name = fields.String(required=True)
    kind = fields.String()
    distribution = fields.String(required=True)
    figure = _number("What the divisor divides; of readings their standard deviation")
    relative = fields.Boolean()
    divisor = fields.String(required=True)
    mean = _number("Only of readings")
    u = _number(required=True)
    unit = fields.String(required=True)
    sensitivity = _number(required=True)
    contribution = _number(required=True)
    dof = _number("Null: infinitely many", null=True)
    share = _number("Of u squared; all sum to 1; negative under correlation", null=True)
    source = fields.String()


class BudgetCoverageAnswerSchema(Schema):
    """How k was found; of a dominant trapezoid its components, half-width, beta and the rest."""

    method = fields.String(required=True)
    probability_pct = _number(null=True)
    components = fields.List(fields.String())
    half_width = _number()
    beta = _number()
    rest_over_dominant = _number("u of the rest over u of the trapezoid")


class BudgetFloorSchema(Schema):
    """The capability that holds, and whether its U was stated in place of a smaller one."""

    cmc = fields.String(required=True)
    version = fields.Integer(required=True)
    mode = fields.String(required=True)
    U_cmc = _number("In the unit of the point", required=True)
    applied = fields.Boolean(required=True)


class BudgetPointSchema(Schema):
    """What a budget comes to at one point, in its unit."""

    point = fields.Nested(BudgetValueAnswerSchema)
    components = fields.List(fields.Nested(BudgetComponentAnswerSchema))
    u = _number("Combined standard uncertainty")
    u_rel_pct = _number("In percent of the value", null=True)
    dof_effective = _number("Welch-Satterthwaite; null: see reasons", null=True)
    dof_for_k = fields.Integer(
        allow_none=True, metadata={"description": "Cut down to a whole number for the look-up of k"}
    )
    coverage = fields.Nested(BudgetCoverageAnswerSchema)
    k = _number()
    U = _number("k u")
    U_rel_pct = _number(null=True)
    floor = fields.Nested(BudgetFloorSchema, allow_none=True)
    U_stated = _number("U, or that of the CMC where it is larger")
    k_stated = _number("k of U_stated: that of the CMC where its U is stated")
    U_reported = _number("U_stated rounded up")
    value_reported = _number("The value to the same place")
    density = fields.Dict(
        metadata={
            "description": (
                "Where a rectangle or trapezoid outweighs the rest: the shape that decisions by "
                "this budget take"
            )
        }
    )
    reasons = fields.Dict(
        metadata={"description": "Why each number that is null is so, by its name"}
    )
    notes = fields.List(fields.String())
    below_cmc = fields.Nested(
        BelowCmcSchema, metadata={"description": "Where U is below a CMC that is recorded now"}
    )


class BudgetSchema(BudgetPointSchema):
    """A budget: one point at the top level, several under `points`."""

    id = fields.String(
        required=True, allow_none=True, metadata={"description": "Null if it was not stored"}
    )
    title = fields.String()
    run_evaluation = fields.Integer()
    points = fields.List(fields.Nested(BudgetPointSchema))
    rounding = fields.Dict(required=True)
    engine_version = fields.String(required=True)


class StoredBudgetSchema(BudgetSchema):
    """A stored budget with the request that it answers."""

    recorded_at = fields.String(required=True, metadata={"format": "date-time"})
    request = fields.Dict(required=True)


class BudgetEntrySchema(Schema):
    """A stored budget in a list."""

    id = fields.String(required=True)
    title = fields.String()
    recorded_at = fields.String(required=True, metadata={"format": "date-time"})
    points = fields.List(fields.Dict(), required=True)


class ReadyComponentSchema(Schema):
    """A ready component: which figure it takes, how that becomes u, and who says so."""

    kind = fields.String(required=True)
    meaning = fields.String(required=True)
    distribution = fields.String(required=True)
    figure = fields.String(required=True)
    divisor = fields.String(required=True)
    formula = fields.String(required=True)
    source = fields.String(required=True)


class ReadyComponentsSchema(Schema):
    """Every ready component, and the forms of figures that each distribution takes."""

    items = fields.List(fields.Nested(ReadyComponentSchema), required=True)
    distributions = fields.Dict(required=True)
