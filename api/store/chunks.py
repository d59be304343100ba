"""Lists of keys cut to what one statement may carry."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TypeVar

T = TypeVar("T")
# Well below SQLite's limit on bound parameters and PostgreSQL's 65,535.
KEYS_A_STATEMENT = 1_000


def chunks(keys: Sequence[T], size: int = KEYS_A_STATEMENT) -> Iterator[Sequence[T]]:
    """Consecutive slices of at most `size` keys."""
    for start in range(0, len(keys), size):
        yield keys[start : start + size]
