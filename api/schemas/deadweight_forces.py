"""A stack of masses, gravity and air, and the force that they make; shape and type only."""

from __future__ import annotations

from typing import Any

from marshmallow import Schema, ValidationError, fields, validate, validates_schema

from api.rules.uncertainty.deadweight import BASES, MASS_UNITS
from api.rules.uncertainty.gravity import FORMULAS
from api.rules.units import FORCE_UNITS
from api.schemas.base import StrictSchema
from api.schemas.fields import DecimalText, Text, above, at_least, refuse


class SureSchema(StrictSchema):
    """A value with its expanded uncertainty in the same unit; 0 says that there is none."""

    value = DecimalText(required=True)
    U = DecimalText(required=True, validate=at_least(0))
    k = DecimalText(validate=above(0), metadata={"description": "Default 2"})


class PositiveSchema(SureSchema):
    """A value above zero with its expanded uncertainty in the same unit."""

    value = DecimalText(required=True, validate=above(0))


class NotNegativeSchema(SureSchema):
    """A value of zero or more with its expanded uncertainty in the same unit."""

    value = DecimalText(required=True, validate=at_least(0))


class TemperatureValueSchema(SureSchema):
    """A temperature in degrees Celsius at which people and masses meet."""

    value = DecimalText(required=True, validate=validate.Range(-50, 60))


class HumiditySchema(SureSchema):
    """A relative humidity in percent."""

    value = DecimalText(required=True, validate=validate.Range(0, 100))


class PieceSchema(StrictSchema):
    """One mass of the stack."""

    name = Text(max_length=200)
    mass = fields.Nested(PositiveSchema, required=True)
    unit = fields.String(load_default="kg", validate=validate.OneOf(tuple(MASS_UNITS)))
    basis = fields.String(
        required=True,
        validate=validate.OneOf(BASES),
        metadata={"description": "True mass, or conventional mass (8000 kg/m3 in 1.2 kg/m3)"},
    )
    density = fields.Nested(
        PositiveSchema, required=True, metadata={"description": "Of the material, kg/m3"}
    )


class ComputedGravitySchema(StrictSchema):
    """Where gravity is to be computed, and how sure the computed value is taken to be."""

    latitude_deg = DecimalText(required=True, validate=validate.Range(-90, 90))
    height_m = DecimalText(required=True, validate=validate.Range(-500, 9000))
    formula = fields.String(load_default="grs80", validate=validate.OneOf(tuple(FORMULAS)))
    U = DecimalText(
        required=True,
        validate=at_least(0),
        metadata={"description": "Expanded, m/s2: no formula knows the local anomaly"},
    )
    k = DecimalText(validate=above(0), metadata={"description": "Default 2"})


class GravitySchema(StrictSchema):
    """Either a measured value in m/s2, or what it is computed from."""

    measured = fields.Nested(PositiveSchema)
    computed = fields.Nested(ComputedGravitySchema)

    @validates_schema
    def _one_way(self, data: dict[str, Any], **kwargs: Any) -> None:
        if len(data) != 1:
            raise refuse("gravity is either measured or computed", "give one of the two")


class AirSchema(StrictSchema):
    """Either the density in kg/m3, or temperature, pressure and humidity."""

    density = fields.Nested(NotNegativeSchema)
    temperature_C = fields.Nested(TemperatureValueSchema)
    pressure_hPa = fields.Nested(PositiveSchema)
    humidity_pct = fields.Nested(HumiditySchema)

    @validates_schema
    def _one_way(self, data: dict[str, Any], **kwargs: Any) -> None:
        conditions = {"temperature_C", "pressure_hPa", "humidity_pct"}
        if set(data) not in ({"density"}, conditions):
            raise refuse(
                "air needs a density, or temperature, pressure and humidity together",
                "give the one or the three",
            )


class DeadweightRequestSchema(StrictSchema):
    """A stack of masses at a place, in air."""

    masses = fields.List(
        fields.Nested(PieceSchema), required=True, validate=validate.Length(1, 200)
    )
    gravity = fields.Nested(GravitySchema, required=True)
    air = fields.Nested(AirSchema, required=True)
    masses_correlated = fields.Boolean(
        load_default=True,
        truthy={True},
        falsy={False},
        metadata={"description": "Masses and densities of the stack, fully or not at all"},
    )
    units = fields.List(
        fields.String(validate=validate.OneOf(FORCE_UNITS)),
        load_default=[],
        validate=validate.Length(max=len(FORCE_UNITS)),
        metadata={"description": "Units to give the force in, beside N"},
    )

    @validates_schema
    def _units_once(self, data: dict[str, Any], **kwargs: Any) -> None:
        units = data.get("units", [])
        if len(set(units)) != len(units):
            error = refuse("a unit stands twice", "name each unit once")
            raise ValidationError(error.messages, "units")


class ForceInUnitSchema(Schema):
    """The force and its uncertainty in one unit."""

    unit = fields.String(required=True)
    force = fields.String(required=True)
    u = fields.String(required=True)
    U = fields.String(required=True)
    U_reported = fields.String(required=True)


class UsedQuantitySchema(Schema):
    """A quantity that was used: value, standard uncertainty and where they come from."""

    value = fields.String(required=True)
    u = fields.String(required=True)
    unit = fields.String(required=True)
    source = fields.String(required=True)
    sensitivity = fields.String(required=True, metadata={"description": "N for one unit"})
    parts = fields.List(
        fields.Dict(), metadata={"description": "What a computed value rests on, each with its u"}
    )


class DeadweightPartSchema(Schema):
    """One contribution to the uncertainty of the force."""

    quantity = fields.String(required=True)
    u_N = fields.String(required=True)
    share_pct = fields.String(required=True, allow_none=True)


class DeadweightPieceSchema(Schema):
    """What one mass adds to the force."""

    name = fields.String()
    true_mass_kg = fields.String(required=True)
    buoyancy_ppm = fields.String(required=True)
    force_N = fields.String(required=True)
    sensitivity_mass = fields.String(required=True, metadata={"description": "N/kg"})
    sensitivity_density = fields.String(required=True, metadata={"description": "N/(kg/m3)"})


class DeadweightForceSchema(Schema):
    """The force of a stack of masses with its uncertainty."""

    force_N = fields.String(required=True)
    k = fields.String(required=True)
    forces = fields.List(fields.Nested(ForceInUnitSchema), required=True)
    contributions = fields.List(fields.Nested(DeadweightPartSchema), required=True)
    gravity = fields.Nested(UsedQuantitySchema, required=True)
    air_density = fields.Nested(UsedQuantitySchema, required=True)
    masses = fields.List(fields.Nested(DeadweightPieceSchema), required=True)
    masses_correlated = fields.Boolean(required=True)
    notes = fields.List(fields.String(), required=True)
