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
    max_record_bytes: str = _setting(
        "TRACEHOLD_MAX_RECORD_BYTES",
        "4194304",
        "largest body of a request that is neither a laboratory file nor a batch, in bytes",
    )
    max_import_records: str = _setting(
        "TRACEHOLD_MAX_IMPORT_RECORDS", "1000000", "most records in one laboratory file"
    )
    max_batch_rows: str = _setting(
        "TRACEHOLD_MAX_BATCH_ROWS", "20000000", "most rows (of text: lines) in one batch"
    )
    rate_per_minute: str = _setting(
        "TRACEHOLD_RATE_PER_MINUTE",
        "0",
        "requests a minute for each API key and server process; 0: no limit",
    )
    rate_burst: str = _setting(
        "TRACEHOLD_RATE_BURST", "0", "requests a key may send at once; 0: what a minute allows"
    )
    failed_keys_per_minute: str = _setting(
        "TRACEHOLD_FAILED_KEYS_PER_MINUTE",
        "600",
        "keys that are not valid, a minute for each address and server process; 0: no limit",
    )
    webhooks_to_private: str = _setting(
        "TRACEHOLD_WEBHOOKS_TO_PRIVATE",
        "no",
        "yes: webhooks may go to private, loopback and link-local addresses",
    )

    require_person: str = _setting(
        "TRACEHOLD_REQUIRE_PERSON",
        "no",
        "yes: every change must name a recorded person, by its key or the header Tracehold-Person",
    )

    @staticmethod
    def is_yes(value: str) -> bool:
        """Whether the value of a setting that is yes or no means yes."""
        return value.lower() in ("yes", "true", "1")

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
