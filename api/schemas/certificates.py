"""Certificates as they are answered, their chains, and the changes they may undergo."""

from __future__ import annotations

from marshmallow import fields, validate

from api.rules.decide import VERDICTS
from api.schemas.agreements import VersionedReferenceSchema
from api.schemas.base import CorrectionSchema, StrictSchema
from api.schemas.calibrations import (
    CalibrationSchema,
    OverrideSchema,
    ResultSchema,
    UseSchema,
)
from api.schemas.cmcs import BelowCmcSchema
from api.schemas.decision_answers import BranchSchema
from api.schemas.fields import MomentText, Text, WholeNumber

STOP, MIND = "stop", "mind"
RECALL_STATES = ("recalled", "under_review", "none")


class CertificateQuerySchema(StrictSchema):
    """Which certificate of this number is meant."""

    issuer = Text(max_length=200)
    revision = fields.Integer(validate=validate.Range(min=0))


class InForceSchema(StrictSchema):
    """The certificate whose value an item carried when it was used."""

    certificate = Text()
    revision = WholeNumber()


class TakenFromSchema(StrictSchema):
    """The set-up check that an item was in."""

    set_up_check = WholeNumber()


class UseAnswerSchema(UseSchema):
    """A use, with what was in force for it."""

    position = WholeNumber(
        metadata={"description": "Where another place in the list is not its own any more"}
    )
    in_force = fields.Nested(InForceSchema)
    taken_from = fields.Nested(
        TakenFromSchema,
        metadata={"description": "Where it was not sent, but taken from a check of the set-up"},
    )


class TakenSchema(StrictSchema):
    """Which numbers of a result were taken, by name, or agree with where they stood before."""

    run_evaluation = fields.List(Text())
    budget = fields.List(Text())


class ResultAnswerSchema(ResultSchema):
    """A result, with the versions it was judged by."""

    verdict = fields.String(
        validate=validate.OneOf(VERDICTS),
        metadata={
            "description": (
                "What the rule decides, no_statement where its preconditions do not hold; absent "
                "where it decides nothing"
            )
        },
    )
    branch = fields.Nested(
        BranchSchema,
        metadata={"description": "Of a rule with a precondition: which branch decides, and why"},
    )
    taken = fields.Nested(TakenSchema)
    rule_version = WholeNumber()
    specification_version = WholeNumber()
    below_cmc = fields.Nested(
        BelowCmcSchema, metadata={"description": "Where U is below our CMC that is recorded now"}
    )


class MeasuredInSchema(StrictSchema):
    """What a certificate was measured in, in short: none of it is ever written again."""

    set_up_checks = fields.List(fields.Dict(), metadata={"description": "id, at, outcome"})
    run_evaluations = fields.List(
        fields.Dict(), metadata={"description": "id, points, series, performed_at"}
    )
    budgets = fields.List(fields.Dict(), metadata={"description": "id, title"})


class GroundSchema(StrictSchema):
    """One thing that speaks against issuing a certificate (stop), or is to be borne in mind."""

    code = Text(metadata={"description": "in_doubt, voided_value, outside_range ..."})
    weight = fields.String(validate=validate.OneOf((STOP, MIND)))
    item = Text()
    point = Text()
    stage = Text(metadata={"description": "as_found or as_left, where a point has both"})
    detail = Text()
    remedy = Text()


class CertificateHeadSchema(CalibrationSchema):
    """A certificate without its uses and results, and whether a recall speaks against it."""

    class Meta(CalibrationSchema.Meta):
        """Uses and results stand in the certificate itself."""

        exclude = ("uses", "results")

    agreement = fields.Nested(VersionedReferenceSchema)
    recall_state = fields.String(validate=validate.OneOf(RECALL_STATES))
    stops = fields.List(
        fields.Nested(GroundSchema), metadata={"description": "In a list with `stopped`"}
    )
    version = fields.Integer()


class CertificateAnswerSchema(CalibrationSchema):
    """A certificate with its uses, results, revisions, and the recalls that list it."""

    uses = fields.List(fields.Nested(UseAnswerSchema))
    results = fields.List(fields.Nested(ResultAnswerSchema))
    overall = fields.Dict(
        keys=Text(),
        values=Text(allow_none=True),
        metadata={
            "description": (
                "Verdict of each stage: its worst point, where no_statement is worse than "
                "conditional_pass and better than conditional_fail; null while that is open"
            )
        },
    )
    statement = Text(
        lines=True, metadata={"description": "Of conformity: points covered, specification, rule"}
    )
    agreement = fields.Nested(
        VersionedReferenceSchema,
        metadata={"description": "With the customer, as it held when this was recorded or issued"},
    )
    measured_in = fields.Nested(MeasuredInSchema)
    revisions = fields.List(fields.Dict())
    recalls = fields.List(fields.Dict())
    reviewed_by = fields.List(
        fields.Dict(),
        metadata={
            "description": "Stored recalls that do not list it as a fresh one does, each with the "
            "list of the fresh one; null while that is being worked out"
        },
    )
    use_corrections = fields.List(fields.Dict())
    corrections = fields.List(fields.Dict())
    fault_corrections = fields.List(
        fields.Dict(),
        metadata={
            "description": "What was taken from its errors: recall, faults, windows, and by point "
            "delta_rel and u_rel, which widened U; by_fault says the same of each of several"
        },
    )
    recall_state = fields.String(validate=validate.OneOf(RECALL_STATES))
    version = fields.Integer()


class ChainSchema(StrictSchema):
    """Every link above a certificate, the roots, and the breaks."""

    certificate = Text()
    revision = WholeNumber()
    unbroken = fields.Boolean()
    breaks = fields.List(fields.Dict())
    roots = fields.List(fields.Dict())
    links = fields.List(fields.Dict())
    measured_in = fields.List(
        fields.Dict(),
        metadata={
            "description": "Set-up checks, run evaluations and budgets of each certificate of it"
        },
    )
    override = fields.Nested(OverrideSchema)


class RecordedOrTriedSchema(CertificateAnswerSchema):
    """A certificate; of a dry run only what speaks against it."""

    grounds = fields.List(fields.Nested(GroundSchema))


class GroundsSchema(StrictSchema):
    """What spoke against a certificate at its issue, and what does today."""

    certificate = Text()
    revision = WholeNumber()
    at = MomentText(metadata={"description": "When it was asked for the first list"})
    grounds = fields.List(
        fields.Nested(GroundSchema),
        allow_none=True,
        metadata={"description": "Null for a draft, and for one recorded before it was asked"},
    )
    override = fields.Nested(OverrideSchema)
    today = fields.List(fields.Nested(GroundSchema))


class UseCorrectionMadeSchema(StrictSchema):
    """One use put right: as it was and became (null: there was none), by whom, why and when."""

    position = fields.Integer()
    before = fields.Dict(allow_none=True)
    after = fields.Dict(allow_none=True)
    by = fields.String()
    reason = fields.String()
    at = fields.String()


class VoidSchema(StrictSchema):
    """Why a certificate is voided, and since when it does not hold."""

    reason = Text(required=True, lines=True)
    voided_at = MomentText(metadata={"description": "Default: now; not before the calibration"})


class NewUseSchema(CorrectionSchema):
    """A use that was forgotten."""

    use = fields.Nested(UseSchema, required=True)


class UseCorrectionSchema(CorrectionSchema):
    """What a use should have said; with null the recorded one is taken out."""

    use = fields.Nested(
        UseSchema,
        required=True,
        allow_none=True,
        error_messages={"required": "missing: send the right use, or null to take it out"},
    )


class IssueSchema(StrictSchema):
    """When a draft is issued, and what it did not say yet."""

    issued_at = MomentText(required=True)
    place = Text()
    conditions = Text(lines=True)
    received_at = MomentText()
    order = Text(max_length=200)
    performed_by = Text(max_length=200)
    authorised_by = Text(
        max_length=200, metadata={"description": "Who authorises it; a person where they are kept"}
    )
    override = fields.Nested(
        OverrideSchema,
        metadata={"description": "Who answers for it, where something speaks against it"},
    )
