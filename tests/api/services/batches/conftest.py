"""What several tests of batches need: a batch from bytes to bytes."""

from __future__ import annotations

import io
from collections.abc import Callable

import pytest

from api.rules.rule import BUILT_IN
from api.schemas.batches import row_fault
from api.services.batches.batches import Batch, Deciding
from api.services.batches.formats import kind_of, read_pieces, writer_of

Through = Callable[..., bytes]


@pytest.fixture(scope="session")
def through() -> Through:
    """Decide bytes of one format and give those of another; formats by their file ending."""

    def run(data: bytes, came=".csv", goes=None, rule="simple", rules=BUILT_IN, **options) -> bytes:
        kind, answer = kind_of(came), kind_of(goes or came)
        deciding = Deciding(row_fault, rules, rules[rule] if rule else None)
        pieces = read_pieces(io.BytesIO(data), kind, answer)
        return b"".join(Batch(pieces, deciding, writer_of(answer, **options)))

    return run
