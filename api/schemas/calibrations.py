"""A calibration with its certificate, uses and results; shape and type only."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any, ClassVar

from marshmallow import ValidationError, fields, validate, validates_schema

from api.rules.decide import VERDICTS
from api.rules.units import FORCE_UNITS
from api.schemas.base import AnnotatedSchema, StrictSchema
from api.schemas.curve_parts import CurveSchema
from api.schemas.fields import (
    MAX_WHOLE,
    DecimalText,
    DoneText,
    Mode,
    MomentText,
    Text,
    WholeNumber,
    above,
    at_least,
    decimal_of,
    refuse,
)
from api.schemas.vocabulary import STAGES, STATUSES

MAX_REVISION = 2**31 - 1  # what the store's column holds
ABSOLUTE = ("applied", "indicated", "error", "U", "tolerance")
# What a unit and an instant may be taken from.
_MEASURED_IN = {"run_evaluation", "budget"}


class PointName(fields.Field[int | str]):
    """A point's name: a whole number or a text; both are kept as they came."""

    otherwise = ("not the name of a point", "send a whole number or a short text")

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> int | str:
        if isinstance(value, int) and not isinstance(value, bool) and abs(value) <= MAX_WHOLE:
            return value
        if isinstance(value, str) and 0 < len(value) <= 200:
            return value
        raise refuse(*self.otherwise)


class Successor(PointName):
    """What took the place of a certificate: the number of a revision, or that of a certificate."""

    otherwise = (
        "not a revision or certificate",
        'send the number of the later revision, such as 1, or of the certificate, such as "K-7"',
    )


class Weight(fields.Field[Decimal | dict[str, Decimal]]):
    """Share of the applied force: one number, or one for each point by name."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Decimal | dict[str, Decimal]:
        if not isinstance(value, Mapping):
            return decimal_of(value)
        weights: dict[str, Decimal] = {}
        errors: dict[str, list[str]] = {}
        for point, weight in value.items():
            try:
                weights[str(point)] = decimal_of(weight)
            except ValidationError as error:
                errors[str(point)] = list(error.messages)
        if errors:
            raise ValidationError(errors)
        if not weights:
            raise refuse("no weight in the mapping", "name every point with its weight")
        return weights


class Tolerance(fields.Field[Any]):
    """A symmetric number, {"lower", "upper"} as signed limits of the error, or a specification."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        if isinstance(value, Mapping):
            return self._limits(value)
        try:
            number = decimal_of(value)
        except ValidationError:
            if isinstance(value, str) and 0 < len(value) <= 200:
                return value  # the id of a specification
            raise
        if number < 0:
            raise refuse("a symmetric tolerance is not negative", "send its magnitude")
        return number

    def _limits(self, value: Mapping[str, Any]) -> dict[str, Decimal]:
        unknown = sorted(set(value) - {"lower", "upper"})
        if unknown:
            raise ValidationError({unknown[0]: [*refuse("unknown field", "lower, upper").messages]})
        limits = {side: decimal_of(given) for side, given in value.items() if given is not None}
        if not limits:
            raise refuse("no limit in the tolerance", "give lower, upper or both")
        if len(limits) == 2 and limits["lower"] > limits["upper"]:
            raise refuse("the lower limit is above the upper one", "exchange them")
        return limits


class RunsNamed(fields.Field[Any]):
    """The id of a run evaluation, or one for each stage: {"as_found": 3, "as_left": 4}."""

    inner: ClassVar[fields.Field[Any]] = WholeNumber(minimum=1)

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        if not isinstance(value, Mapping):
            return self.inner.deserialize(value)
        unknown = sorted(set(value) - set(STAGES))
        if unknown or not value:
            error = refuse("not by stage", f"name one or more of {', '.join(STAGES)}")
            raise ValidationError({unknown[0]: error.messages}) if unknown else error
        return {stage: self.inner.deserialize(one) for stage, one in value.items()}


class BudgetsNamed(RunsNamed):
    """The id of an uncertainty budget, or one for each stage."""

    inner = Text(max_length=200)


class OverrideSchema(StrictSchema):
    """Who answers for an issue on doubtful ground, or the use of an isolated item, and why."""

    by = Text(required=True, max_length=200)
    reason = Text(required=True, lines=True)


class UseSchema(AnnotatedSchema):
    """One item that a calibration used."""

    item = Text(required=True, max_length=200)
    role = Text(
        required=True, metadata={"description": "force_reference, adapter, readout_dut ..."}
    )
    weight = Weight(metadata={"description": "Default 1; a mapping names every point served"})
    channel = Text()
    points = fields.List(PointName(), validate=validate.Length(min=1))
    performed_at = DoneText(metadata={"description": "Instant of this use, if its own"})
    factor_applied = DecimalText()
    override = fields.Nested(OverrideSchema)
    certificate = Text(metadata={"description": "Certificate whose value was used, if named"})
    revision = WholeNumber(maximum=MAX_REVISION)

    @validates_schema
    def _revision_needs_certificate(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "revision" in data and "certificate" not in data:
            error = refuse("a revision without a certificate", "name the certificate too")
            raise ValidationError(error.messages, "revision")

    @validates_schema
    def _factor_is_a_factor(self, data: dict[str, Any], **kwargs: Any) -> None:
        if data.get("factor_applied") is not None and data["factor_applied"] <= 0:
            error = refuse("a correction factor is greater than zero", "check the record")
            raise ValidationError(error.messages, "factor_applied")


class ResultSchema(AnnotatedSchema):
    """One measured point, absolute in `unit` or relative in percent."""

    point = PointName(required=True)
    stage = fields.String(load_default="single", validate=validate.OneOf(STAGES))
    direction = Text()
    applied = DecimalText()
    indicated = DecimalText()
    error = DecimalText()
    U = DecimalText(validate=at_least(0))
    k = DecimalText(validate=above(0))
    dof = DecimalText(validate=at_least(1))
    unit = fields.String(validate=validate.OneOf((*FORCE_UNITS, "%")))
    tolerance = Tolerance()
    rule = Text(max_length=200)
    verdict_reported = fields.String(validate=validate.OneOf(VERDICTS))
    error_rel_pct = DecimalText()
    U_rel_pct = DecimalText(validate=at_least(0))
    tolerance_rel_pct = Tolerance()
    set_up_check = WholeNumber(minimum=1, metadata={"description": "Default: the calibration's"})
    run_evaluation = WholeNumber(
        minimum=1,
        metadata={
            "description": "Runs that its forces and error are from, by `applied` or else by its "
            "number among them, 1 the smallest; default: the calibration's"
        },
    )
    budget = Text(
        max_length=200,
        metadata={
            "description": "Id of the budget that U, k and dof are from; default: the calibration's"
        },
    )


class CalibrationSchema(AnnotatedSchema):
    """One revision of a certificate and the calibration that it reports."""

    certificate = Text(required=True, max_length=200)
    revision = WholeNumber(maximum=MAX_REVISION, load_default=0)
    status = fields.String(load_default="issued", validate=validate.OneOf(STATUSES))
    item = Text(required=True, max_length=200)
    performed_at = DoneText(
        metadata={"description": "May be left to runs that are named and say it"}
    )
    issued_at = MomentText(allow_none=True)
    customer = Text(max_length=200)
    order = Text(max_length=200, metadata={"description": "The customer's order it was made for"})
    external = fields.Boolean(load_default=False, truthy={True}, falsy={False})
    issuer = Text(max_length=200)
    accreditation = Text()
    method = Text()
    mode = Mode()
    due_at = MomentText(allow_none=True)
    adjusted = fields.Boolean(truthy={True}, falsy={False})
    assigns_value = fields.Boolean(load_default=True, truthy={True}, falsy={False})
    keeps_corrections = fields.Boolean(
        truthy={True},
        falsy={False},
        metadata={
            "description": "Whether what was taken for faults from the corrected revision before "
            "stays taken from these errors; asked for where they are those of no revision before"
        },
    )
    superseded_by = Successor(metadata={"description": "Revision or certificate that took over"})
    void_reason = Text(lines=True)
    voided_at = MomentText(
        allow_none=True,
        metadata={"description": "Since when a voided certificate does not hold; exclusive end"},
    )
    load_applications = WholeNumber()
    set_up_check = WholeNumber(
        minimum=1,
        metadata={"description": "Id of the check of its set-up; uses are taken from it"},
    )
    run_evaluation = RunsNamed(
        metadata={
            "description": "Id of its runs, or one by stage; its results are taken from them, "
            "and without results all"
        }
    )
    budget = BudgetsNamed(
        metadata={"description": "Id of its budget, or one by stage, for U, k, dof and its runs"}
    )
    place = Text(metadata={"description": "Where it was calibrated"})
    conditions = Text(
        lines=True, metadata={"description": "Of the surroundings, as 20.3 °C ± 0.5 K"}
    )
    received_at = MomentText(metadata={"description": "When the item was received"})
    performed_by = Text(max_length=200, metadata={"description": "Who calibrated it"})
    authorised_by = Text(
        max_length=200,
        metadata={"description": "Who authorises it; the id of a person where persons are kept"},
    )
    override = fields.Nested(
        OverrideSchema,
        metadata={"description": "Who answers for its issue, where something speaks against it"},
    )
    curve = fields.Nested(
        CurveSchema,
        metadata={"description": "The polynomial that it assigns, from deflection to force"},
    )
    uses = fields.List(fields.Nested(UseSchema))
    results = fields.List(fields.Nested(ResultSchema))

    @validates_schema
    def _forces_have_a_unit(self, data: dict[str, Any], **kwargs: Any) -> None:
        faults = {}
        if _MEASURED_IN & data.keys():
            return  # the unit may be that of the runs
        for place, result in enumerate(data.get("results", ())):
            if "run_evaluation" in result or "budget" in result:
                continue
            given = [name for name in ABSOLUTE if not isinstance(result.get(name, ""), str)]
            if given and result.get("unit") in (None, "%"):
                remedy = f"add unit, one of {', '.join(FORCE_UNITS)}"
                faults[place] = {"unit": refuse(f"{given[0]} has no unit", remedy).messages}
        if faults:
            raise ValidationError({"results": faults})

    @validates_schema
    def _when_it_was_performed(self, data: dict[str, Any], **kwargs: Any) -> None:
        if "performed_at" not in data and not data.keys() & _MEASURED_IN:
            error = refuse("required field is missing", "add it, or name runs that say it")
            raise ValidationError(error.messages, "performed_at")


class RecordQuerySchema(StrictSchema):
    """Whether what was sent is only asked about."""

    dry_run = fields.Boolean(load_default=False)


class CalibrationQuerySchema(StrictSchema):
    """Filters of a list of calibrations."""

    item = Text()
    customer = Text()
    status = fields.String(validate=validate.OneOf(STATUSES))
