"""An item: anything that can influence a result."""

from __future__ import annotations

from marshmallow import fields, validate

from api.schemas.base import AnnotatedSchema, StrictSchema
from api.schemas.fields import FreeObject, MomentText, Text, WholeNumber
from api.schemas.vocabulary import ITEM_KINDS


class ItemFields(AnnotatedSchema):
    """What is known of an item, its identity aside."""

    type = Text(metadata={"description": "tension_link, crane_scale, dynamometer, clevis, pin ..."})
    capacity = Text(metadata={"description": "Rated capacity with its unit, such as 50 kN"})
    make = Text(max_length=200, metadata={"description": "Who made it"})
    model = Text(max_length=200, metadata={"description": "Model of the maker, as on its plate"})
    channels = fields.List(Text(), metadata={"description": "Channels of a readout"})
    cycles_at_last_inspection = WholeNumber()
    design_life_cycles = WholeNumber(minimum=1)
    owner = Text()
    properties = FreeObject(metadata={"description": "Anything else worth keeping"})
    in_service_from = MomentText(metadata={"description": "Uses before this instant are refused"})


class ItemSchema(ItemFields):
    """One item, as recorded."""

    id = Text(required=True, max_length=200)
    kind = fields.String(required=True, validate=validate.OneOf(ITEM_KINDS))


class ItemChangeSchema(ItemFields):
    """Changes to an item; what is not named stays. The identity and kind cannot change."""


class ItemAnswerSchema(ItemSchema):
    """One item as it is answered; the last two by itself only."""

    version = fields.Integer()
    identity_swaps = fields.List(fields.Dict())
    all_identity_swaps = fields.Dict(
        metadata={"description": "Where only the latest are given: how many, and where all are"}
    )
    shared_certificates = fields.List(
        fields.Dict(), metadata={"description": "Another revision of them names another item"}
    )


class ItemQuerySchema(StrictSchema):
    """Filters of a list of items."""

    kind = fields.String(validate=validate.OneOf(ITEM_KINDS))
    type = Text()
    owner = Text()
