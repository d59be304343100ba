"""A specification: a tolerance as data, with the edition and source of its figures."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import Schema, ValidationError, fields, validate

from api.rules.limits import COMBINATIONS, TERM_KINDS
from api.schemas.base import StrictSchema
from api.schemas.decision_rules import pair_of
from api.schemas.fields import DecimalText, Text, WholeNumber, decimal_of, refuse


class TermSchema(StrictSchema):
    """One term of a tolerance."""

    kind = fields.String(required=True, validate=validate.OneOf(TERM_KINDS))
    value = DecimalText(required=True, validate=validate.Range(min=0))


class TermsSchema(StrictSchema):
    """A tolerance made of terms, added up or combined as root-sum-square."""

    terms = fields.List(
        fields.Nested(TermSchema), required=True, validate=validate.Length(min=1, max=20)
    )
    combine = fields.String(validate=validate.OneOf(COMBINATIONS))


class SpecificationReferenceSchema(StrictSchema):
    """A recorded specification in a given version."""

    specification = Text(required=True, max_length=200)
    version = WholeNumber(minimum=1)


# Made once: a schema costs more to make than to use.
_TERMS, _REFERENCE = TermsSchema(), SpecificationReferenceSchema()


class ToleranceField(fields.Field[Any]):
    """A number (symmetric), {"lower", "upper"} (signed offsets) or {"terms", "combine"}.

    With `by_id` also the id of a recorded specification, which loads as {"specification": id}, or
    {"specification", "version"}.
    """

    def __init__(self, *, by_id: bool = False, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.by_id = by_id

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> Any:
        if isinstance(value, Mapping):
            if self.by_id and "specification" in value:
                return _REFERENCE.load(value)
            return _TERMS.load(value) if "terms" in value else pair_of(value)
        try:
            number = decimal_of(value)
        except ValidationError:
            if self.by_id and isinstance(value, str):
                return {"specification": Text(max_length=200).deserialize(value)}
            raise
        if number < 0:
            raise refuse("a symmetric tolerance is not negative", "send its magnitude")
        return number


def _not_a_number(value: str) -> None:
    try:
        decimal_of(value)
    except ValidationError:
        return
    raise refuse("a number would be read as a tolerance", "choose an id that is not a number")


class NewSpecificationSchema(StrictSchema):
    """A specification to be recorded; its version is counted by the server."""

    id = Text(required=True, max_length=200, validate=_not_a_number)
    title = Text()
    edition = Text(metadata={"description": "Edition or date of the document"})
    source = Text(
        metadata={"description": 'Where the figures come from, such as "from memory, verify"'}
    )
    unit = Text(
        max_length=20,
        metadata={"description": "Unit of the absolute figures; % is percent of the applied force"},
    )
    tolerance = ToleranceField(required=True)
    full_scale = DecimalText(validate=validate.Range(min=0, min_inclusive=False))
    resolution = DecimalText(validate=validate.Range(min=0, min_inclusive=False))
    note = Text(lines=True)


class SpecificationAnswerSchema(Schema):
    """A specification as it is answered."""

    id = fields.String(required=True)
    version = fields.Integer(required=True)
    title = fields.String()
    edition = fields.String()
    source = fields.String()
    unit = fields.String()
    tolerance = fields.Raw(required=True)
    full_scale = fields.String()
    resolution = fields.String()
    note = fields.String()
    versions = fields.List(fields.Integer(), metadata={"description": "Only in a single answer"})
