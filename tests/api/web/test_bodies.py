"""A body becomes a file of its own, whatever its length."""

from __future__ import annotations

import pytest

from api.web import bodies


@pytest.mark.parametrize("length", [0, 10, 3000])
def test_a_body_is_read_from_its_beginning_in_memory_or_on_disk(app, monkeypatch, length):
    monkeypatch.setattr(bodies, "IN_MEMORY", 1000)
    sent = b"x" * length
    with app.test_request_context(method="POST", data=sent), bodies.spooled() as body:
        assert body.read() == sent
        body.seek(0)
        assert body.read() == sent
