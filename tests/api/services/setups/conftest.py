"""What tests of set-ups need: planned set-ups of items that nobody stored, and a laboratory."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal
from itertools import count
from typing import Any

import pytest
from sqlalchemy.orm import Session

from api.rules.units import parse_quantity, to_newton
from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory
from api.services.records.requirements import Taken
from api.services.setups.setups import Piece, Setup
from api.store.tables import Item
from graph.moments import moment, time_zone

AT = "2025-06-01T12:00:00Z"
HIRE = "Quill Hire"
# A link of 20 kip with its fittings, which hold pins since January; REF is overdue in June.
LABORATORY: dict[str, Any] = {
    "items": [
        {"id": "TL-1", "kind": "customer_instrument", "type": "tension_link", "capacity": "20 kip",
         "owner": HIRE},
        {"id": "FM-1", "kind": "force_machine", "capacity": "300 kN"},
        {"id": "REF", "kind": "reference_standard", "type": "load_cell", "capacity": "50 kN"},
        {"id": "RDO", "kind": "readout"},
        {"id": "TOP", "kind": "adapter", "type": "clevis", "capacity": "100 kN"},
        {"id": "BOT", "kind": "adapter", "type": "clevis", "capacity": "100 kN"},
        {"id": "P-TOP", "kind": "adapter_part", "type": "pin", "capacity": "150 kN",
         "design_life_cycles": 500000, "cycles_at_last_inspection": 300000,
         "properties": {"pin_diameter": "50 mm", "position": "top"}},
        {"id": "P-BOT", "kind": "adapter_part", "type": "pin", "capacity": "100 kN",
         "design_life_cycles": 500000, "cycles_at_last_inspection": 450000,
         "properties": {"pin_diameter": "50.8 mm", "position": "bottom"}},
        {"id": "P-OLD", "kind": "adapter_part", "type": "pin", "capacity": "25 kip",
         "design_life_cycles": 500000, "cycles_at_last_inspection": 500001,
         "properties": {"pin_diameter": "2 in"}},
        {"id": "P-OWN", "kind": "adapter_part", "type": "pin", "capacity": "25 kip", "owner": HIRE,
         "properties": {"pin_diameter": "2 in"}},
    ],
    "composition": [
        {"assembly": "TOP", "part": "P-TOP", "from": "2025-01-01T00:00:00Z"},
        {"assembly": "BOT", "part": "P-BOT", "from": "2025-01-01T00:00:00Z",
         "until": "2025-07-01T00:00:00Z"},
    ],
    "calibrations": [
        {"certificate": "M-1", "item": "FM-1", "performed_at": "2025-01-10T10:00:00Z",
         "due_at": "2026-01-10T10:00:00Z"},
        {"certificate": "R-1", "item": "REF", "performed_at": "2024-01-10T10:00:00Z",
         "due_at": "2025-05-30T12:00:00Z"},
    ],
    "checks": [
        {"id": "K-1", "item": "P-TOP", "at": "2025-02-01T10:00:00Z", "result": "pass",
         "kind": "inspection", "wear_pct": "10", "limit_pct": "10"},
        {"id": "K-2", "item": "P-BOT", "at": "2025-02-01T10:00:00Z", "result": "pass",
         "kind": "inspection", "wear_pct": "10.1", "limit_pct": "10"},
    ],
}  # fmt: skip


@pytest.fixture
def laboratory(database) -> Iterator[Session]:
    """A session on a laboratory with a link, its fittings and pins, rolled back at the end."""
    with database.write() as session:
        import_laboratory(session, LaboratorySchema().load(LABORATORY), 0)
        yield session
        session.rollback()


@pytest.fixture(scope="session")
def piece() -> Callable[..., Piece]:
    """Make a piece of a set-up; what is named beside columns and places is a property."""
    keys = count(1)

    def made(code: str, *, place=None, fitting=None, weight="1", **said: Any) -> Piece:
        columns = {name: said.pop(name) for name in ("type", "capacity", "owner") if name in said}
        item = Item(id=next(keys), code=code, kind="adapter", properties=said or None, **columns)
        return Piece(item, place, fitting, Decimal(weight))

    return made


@pytest.fixture(scope="session")
def setup_of(piece) -> Callable[..., Setup]:
    """Make a set-up of a tension link; `required` is its requirement, `planned` the forces."""

    def made(*pieces: Piece, required=None, planned=(), at=AT, **more: Any) -> Setup:
        link = piece("TL-1", type=more.pop("type", "tension_link"), capacity="20 kip")
        forces = [(text, to_newton(*parse_quantity(text))) for text in planned]
        values: dict[str, Any] = {
            "at": moment(at, time_zone("UTC")),
            "at_text": at,
            "type": link.item.type,
            "capacity": link.item.capacity,
            "instrument": link,
            "machine": None,
            "references": [],
            "readouts": [],
            "pieces": list(pieces),
            "taken": Taken(None, None)
            if required is None
            else Taken({"id": "LINK", "version": 1, **required}, "type_capacity"),
            "highest": max(forces, key=lambda one: one[1]) if forces else None,
            "measured": {},
            "request": {},
        }
        return Setup(**values | more)

    return made
