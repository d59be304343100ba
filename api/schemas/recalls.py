"""Recalls as they are answered."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from marshmallow import fields, validate

from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText, MomentText, Text, WholeNumber, at_least, refuse


class Stale(fields.Field[bool | str]):
    """true, false, or the word "checking"."""

    WORDS: ClassVar[dict[str, bool | str]] = {"true": True, "false": False, "checking": "checking"}

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> bool | str:
        word = str(value).lower()
        if word not in self.WORDS:
            raise refuse("neither true nor false nor checking", "write one of them")
        return self.WORDS[word]


class BranchShortSchema(StrictSchema):
    """Which branch of a rule with a precondition decides with the U before or after, and why."""

    number = WholeNumber(minimum=1)
    reason = Text()


class PointSchema(StrictSchema):
    """One point: how it moves and what the agreed rule says; numbers as text, null if unknown.

    A bounded fault gives {"lower", "upper"} in the place of one number.
    """

    point = fields.Raw()
    stage = Text()
    unit = Text(allow_none=True)
    delta_rel = fields.Raw(allow_none=True)
    shift = fields.Raw(allow_none=True)
    corrected_error = fields.Raw(allow_none=True)
    U_after = Text()
    verdict_before = Text(allow_none=True)
    decided_before = Text(
        metadata={"description": "What the rule gave before, where another verdict was reported"}
    )
    verdict_after = Text(
        allow_none=True,
        metadata={"description": "no_statement where the rule states nothing any more"},
    )
    branch_before = fields.Nested(BranchShortSchema)
    branch_after = fields.Nested(BranchShortSchema)
    verdicts_possible = fields.List(Text())
    changed = fields.Boolean(allow_none=True)


class RecallEntrySchema(StrictSchema):
    """One certificate in one list."""

    certificate = Text()
    revision = WholeNumber()
    item = Text()
    class_ = Text(data_key="class")
    customer = Text()
    external = fields.Boolean()
    issuer = Text(allow_none=True)
    date_only = fields.Boolean()
    generation = WholeNumber()
    reason_paths = fields.List(fields.List(Text()))
    path_count = WholeNumber()
    reason = Text(metadata={"description": "Why it is traced, cleared or indeterminate"})
    reasons = fields.List(Text(), metadata={"description": "Why it cannot be excluded"})
    doubts = fields.List(
        Text(), metadata={"description": "Why it could not be excluded either, if it stood nowhere"}
    )
    detail = Text()
    could_change = fields.Boolean()
    contradicted_before = Text(
        metadata={"description": "Which reported verdicts contradicted their own rule before"}
    )
    points = fields.List(fields.Nested(PointSchema))
    overall = fields.Dict(allow_none=True)
    verdict_changes = fields.Boolean(allow_none=True)
    max_shift_over_U = Text(allow_none=True)
    max_shift_over_tolerance = Text(allow_none=True)


class RecallHeadSchema(StrictSchema):
    """A recall without its lists."""

    id = fields.Integer()
    number = Text()
    created_at = MomentText()
    as_of = MomentText()
    previous = fields.Integer(allow_none=True)
    input_hash = Text()
    result_hash = Text()
    engine_version = Text()
    faults = fields.List(fields.Dict())
    window = fields.Dict()
    windows = fields.List(fields.Dict())
    notes = fields.List(Text())
    summary = fields.Dict()
    differences = fields.Dict(metadata={"description": "Against the recall named as previous"})
    stale = Stale(
        metadata={
            "description": "Whether a fresh recall differs in its windows or in any list but "
            'cleared; "checking" until that is known'
        }
    )
    staleness = fields.Dict(
        metadata={
            "description": "When it was compared last, since when and why it is stale, what a "
            "fresh recall finds, whether a closed case is to be reopened, and the history"
        }
    )


class RecallQuerySchema(StrictSchema):
    """Which recalls are listed."""

    stale = Stale(metadata={"description": 'true, false or "checking"'})
    reopen = fields.Boolean(
        metadata={"description": "true: closed cases that are stale and not looked at again"}
    )


class RecallShownSchema(StrictSchema):
    """How a stored recall is shown."""

    exact = fields.Boolean(
        load_default=False,
        metadata={"description": "true: compare it with a fresh recall first, where it waits"},
    )


class RecallSchema(RecallHeadSchema):
    """A recall with its lists; above 5,000 entries with links to them instead."""

    affected = fields.List(fields.Nested(RecallEntrySchema))
    exposed_zero_effect = fields.List(fields.Nested(RecallEntrySchema))
    indeterminate = fields.List(fields.Nested(RecallEntrySchema))
    traced_not_recalled = fields.List(fields.Nested(RecallEntrySchema))
    cleared = fields.List(fields.Nested(RecallEntrySchema))
    cannot_be_excluded = fields.List(fields.Nested(RecallEntrySchema))
    links = fields.Dict(keys=Text(), values=Text())


class ComparisonSchema(StrictSchema):
    """Two previews side by side, and what the second changes."""

    first = fields.Nested(RecallHeadSchema)
    second = fields.Nested(RecallHeadSchema)
    differences = fields.Dict()


class FaultDraftRequestSchema(StrictSchema):
    """The certificate whose as-found results show the fault, or whose curve was put right."""

    certificate = Text(required=True, max_length=200)
    issuer = Text(max_length=200)
    revision = WholeNumber()


class FaultDraftSchema(StrictSchema):
    """A fault to look at, and then to report."""

    fault = fields.Dict()
    notes = fields.List(Text())


class TotalsSchema(StrictSchema):
    """Counts of the recalled lists; each row names what it counts, most verdict changes first."""

    affected = fields.Dict()
    exposed_zero_effect = fields.Dict()
    indeterminate = fields.Dict()
    cannot_be_excluded = fields.Dict()


class EntryQuerySchema(StrictSchema):
    """How one list of a recall is sorted and filtered."""

    sort = fields.String(
        validate=validate.OneOf(
            (
                "order",
                "changed",
                "shift_over_U",
                "shift_over_tolerance",
                "customer",
                "item",
                "generation",
            )
        )
    )
    verdict_changes = fields.Boolean()
    customer = Text()
    item = Text()
    generation = fields.Integer(validate=validate.Range(0, 2**31 - 1))
    min_shift_over_U = DecimalText(validate=at_least(0))


class RecallHeadPageSchema(StrictSchema):
    """A page of recalls."""

    items = fields.List(fields.Nested(RecallHeadSchema), required=True)
    next = Text(required=True, allow_none=True)


class RecallEntryPageSchema(StrictSchema):
    """A page of one list of a recall."""

    items = fields.List(fields.Nested(RecallEntrySchema), required=True)
    next = Text(required=True, allow_none=True)
