"""The demonstration laboratory in a database, for commands that ask it without a server."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from api.schemas.imports import LaboratorySchema
from api.services.imports.imports import import_laboratory

DEMO = Path(__file__).parents[3] / "fixtures" / "demo_lab"


@pytest.fixture
def demonstration(engine_place):
    """Database of the demonstration laboratory."""

    def build():
        records = json.loads((DEMO / "laboratory.json").read_bytes())
        with engine_place.database.write() as session:
            import_laboratory(session, LaboratorySchema().load(records), 0)

    engine_place.once("demonstration", build)
    return engine_place.database
