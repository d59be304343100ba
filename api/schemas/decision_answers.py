"""A decision as it is answered, stored, listed and replayed."""

from __future__ import annotations

from marshmallow import Schema, fields, validate

from api.rules.decide import VERDICTS


class SpecificRiskSchema(Schema):
    """What the decision would cost for this result."""

    consumer = fields.Float(
        required=True, metadata={"description": "Probability of not conforming"}
    )
    producer = fields.Float(required=True, metadata={"description": "Probability of conforming"})


class GlobalRiskSchema(Schema):
    """Joint risks for the stated prior, of a normal measurement; null where nothing is accepted."""

    consumer = fields.Float(required=True, allow_none=True)
    producer = fields.Float(required=True, allow_none=True)
    consumer_given_accepted = fields.Float(required=True, allow_none=True)
    accepted = fields.Float(required=True, allow_none=True)


class PosteriorSchema(Schema):
    """What is known of the item after the result; risk is that of not conforming."""

    mean = fields.Float(required=True)
    sd = fields.Float(required=True)
    risk = fields.Float(required=True)


class PriorAnswerSchema(Schema):
    """The prior that was used, in the unit of the value."""

    mean = fields.String(required=True, metadata={"format": "decimal"})
    sd = fields.String(required=True, metadata={"format": "decimal"})
    reliability = fields.String(metadata={"description": "The observed rate behind it, as sent"})


class LimitsAnswerSchema(Schema):
    """Two limits; null where there is none."""

    lower = fields.String(required=True, allow_none=True, metadata={"format": "decimal"})
    upper = fields.String(required=True, allow_none=True, metadata={"format": "decimal"})


class AcceptanceAnswerSchema(LimitsAnswerSchema):
    """Acceptance limits; empty and reason only where no result can pass."""

    empty = fields.Boolean()
    reason = fields.String()


class ReportedSchema(Schema):
    """As a certificate prints it: U rounded up to two digits, the value to the same place."""

    value = fields.String(required=True)
    U = fields.String(required=True)


class BranchSchema(Schema):
    """Which branch of a rule decided, and why."""

    number = fields.Integer(required=True, metadata={"description": "From 1"})
    decides = fields.Dict(
        required=True,
        allow_none=True,
        metadata={"description": "Its guard and zones; null where no statement is made"},
    )
    reason = fields.String(
        required=True, metadata={"description": "Each ratio asked for against its limit"}
    )
    preconditions = fields.List(
        fields.Dict(),
        required=True,
        metadata={
            "description": (
                "Those asked, in order: the limit, the ratio (null where it has no bound), whether "
                "it holds, and the reason in words"
            )
        },
    )


class AtIntervalEndSchema(Schema):
    """The same result, limits and rule at the end of the interval, with the drift until then."""

    verdict = fields.String(required=True, validate=validate.OneOf(VERDICTS))
    days = fields.String(required=True)
    value = fields.String(required=True, metadata={"description": "Moved by a known drift"})
    U = fields.String(required=True, metadata={"description": "With the drift, the same k"})
    u_drift = fields.String(
        required=True, metadata={"description": "Standard uncertainty that the drift adds"}
    )
    dof = fields.String()
    acceptance = fields.Nested(AcceptanceAnswerSchema, required=True)
    specific_risk = fields.Nested(SpecificRiskSchema, required=True)
    tur = fields.String(required=True, allow_none=True)
    reported = fields.Nested(ReportedSchema, required=True)
    statement = fields.String(required=True)


class DecisionSchema(Schema):
    """A decision, the verdict first; it was made on unrounded numbers."""

    id = fields.Integer(
        required=True, allow_none=True, metadata={"description": "Null if it was not stored"}
    )
    verdict = fields.String(
        required=True,
        validate=validate.OneOf(VERDICTS),
        metadata={"description": "no_statement: the rule states nothing, see branch"},
    )
    limits = fields.Nested(LimitsAnswerSchema, required=True)
    acceptance = fields.Nested(AcceptanceAnswerSchema, required=True)
    guard_band = fields.Raw(
        required=True,
        metadata={"description": "w in the unit of the value; {lower, upper} where they differ"},
    )
    conformance_probability = fields.Float(required=True)
    specific_risk = fields.Nested(SpecificRiskSchema, required=True)
    global_risk = fields.Nested(GlobalRiskSchema)
    posterior = fields.Nested(PosteriorSchema)
    prior = fields.Nested(PriorAnswerSchema)
    tur = fields.String(
        required=True,
        allow_none=True,
        metadata={"description": "(upper - lower) / (2 U at 95 %); null where it does not exist"},
    )
    capability = fields.String(
        required=True,
        allow_none=True,
        metadata={
            "description": (
                "Measurement capability index (upper - lower) / (4 u); null where it does not exist"
            )
        },
    )
    statement = fields.String(required=True, metadata={"description": "For the certificate"})
    value = fields.String(required=True)
    U = fields.String(required=True)
    k = fields.String(required=True)
    dof = fields.String()
    density = fields.Dict(
        metadata={
            "description": (
                "Shape of a result that is not normal, of which specific risks, TUR and solved "
                "guard bands are; global risks and posterior are of a normal measurement"
            )
        }
    )
    unit = fields.String(required=True)
    agreement = fields.Dict(metadata={"description": "The agreement that the rule is of"})
    budget = fields.Dict(metadata={"description": "The budget and point that U, k and dof are of"})
    reported = fields.Nested(ReportedSchema, required=True)
    rule = fields.Dict(
        required=True, metadata={"description": "{id, version}, or the object that was sent"}
    )
    branch = fields.Nested(
        BranchSchema, metadata={"description": "Only where the rule has a precondition"}
    )
    at_interval_end = fields.Nested(
        AtIntervalEndSchema, metadata={"description": "Only where a drift was sent"}
    )
    engine_version = fields.String(required=True)


class StoredDecisionSchema(DecisionSchema):
    """A stored decision with the request that it answers."""

    recorded_at = fields.String(required=True, metadata={"format": "date-time"})
    request = fields.Dict(required=True)


class DecisionEntrySchema(Schema):
    """A stored decision in a list."""

    id = fields.Integer(required=True)
    recorded_at = fields.String(required=True, metadata={"format": "date-time"})
    verdict = fields.String(required=True)
    value = fields.String(required=True)
    U = fields.String(required=True)
    unit = fields.String(required=True)
    rule = fields.Dict(required=True)


class DifferenceSchema(Schema):
    """One field in which a replayed decision is not the stored one; null where it is absent."""

    pointer = fields.String(required=True)
    stored = fields.Raw(required=True, allow_none=True)
    replayed = fields.Raw(required=True, allow_none=True)


class EngineVersionsSchema(Schema):
    """Which maths gave the two answers."""

    stored = fields.String(required=True)
    replayed = fields.String(required=True)


class DecisionReplaySchema(Schema):
    """A stored decision made again from its stored request, rule version and engine."""

    id = fields.Integer(required=True)
    identical = fields.Boolean(required=True)
    differences = fields.List(fields.Nested(DifferenceSchema), required=True)
    rule = fields.Dict(required=True, metadata={"description": "As in the decision"})
    engine_version = fields.Nested(EngineVersionsSchema, required=True)
    verdict = fields.String(required=True, metadata={"description": "That of the replay"})
