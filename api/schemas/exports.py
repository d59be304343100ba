"""What of a recall is exported."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from marshmallow import fields

from api.schemas.base import StrictSchema
from api.schemas.fields import refuse
from graph.lists import LISTS


class ListNames(fields.Field[list[str]]):
    """Names of lists of a recall, joined by commas."""

    def _deserialize(
        self, value: Any, attr: str | None, data: Mapping[str, Any] | None, **kwargs: Any
    ) -> list[str]:
        names = str(value).split(",")
        unknown = [name for name in names if name not in LISTS]
        if unknown:
            raise refuse(f"a recall has no list {unknown[0]}", f"lists are {', '.join(LISTS)}")
        return list(dict.fromkeys(names))


class ExportQuerySchema(StrictSchema):
    """Which lists are exported."""

    lists = ListNames(metadata={"description": "Names joined by commas"})


class TableQuerySchema(ExportQuerySchema):
    """Which lists are exported, and whether texts stay as they are."""

    raw = fields.Boolean(
        load_default=False,
        metadata={"description": "Leave texts that look like formulas as they are"},
    )
