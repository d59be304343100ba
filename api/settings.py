"""Every setting, read once from the environment; nothing else reads it.

The names, defaults and meanings live in the fields below, so that a listing can be printed.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field, fields


def _setting(name: str, default: str, meaning: str) -> str:
    value: str = field(default=default, metadata={"env": name, "meaning": meaning})
    return value


@dataclass(frozen=True, slots=True)
class Settings:
    """Settings of one server or command; all values are text as the environment gives them."""

    database_url: str = _setting(
        "TRACEHOLD_DATABASE_URL",
        "sqlite:///tracehold.db",
        "SQLAlchemy address of the database; SQLite or PostgreSQL",
    )
    max_body_bytes: str = _setting(
        "TRACEHOLD_MAX_BODY_BYTES", "268435456", "largest request body accepted, in bytes"
    )

    require_person: str = _setting(
        "TRACEHOLD_REQUIRE_PERSON",
        "no",
        "yes: every change must name a recorded person, by its key or the header Tracehold-Person",
    )

    @classmethod
    def from_environment(cls, environment: Mapping[str, str] | None = None) -> Settings:
        """Settings from the environment (or a mapping that stands for it)."""
        source = os.environ if environment is None else environment
        given = {
            f.name: source[f.metadata["env"]]
            for f in fields(cls)
            if source.get(f.metadata["env"], "") != ""
        }
        return cls(**given)
