"""A random web of certificates, for reads along the links between them."""

from __future__ import annotations

import random

import networkx as nx
import pytest

from api.store.tables import Certificate, Item, Usage

SIZE = 60


@pytest.fixture(params=range(3))
def woven(request, database):
    """A random web of certificates: session, sources, and links that only confirmed limits."""
    chance = random.Random(request.param)
    sources = [(b, a) for b in range(2, SIZE) for a in range(1, b) if chance.random() < 0.03]
    evidence = [(b, a) for b in range(2, SIZE) for a in range(1, b) if chance.random() < 0.01]
    with database.write() as session:
        session.add_all(
            Item(id=key, code=f"I-{key}", kind="adapter", content_hash="", recorded_us=0)
            for key in range(1, SIZE)
        )
        session.flush()
        session.add_all(
            Certificate(
                id=key,
                number=f"C-{key}",
                revision=0,
                status="issued",
                item_id=key,
                performed_at="",
                performed_us=key,
                performed_end_us=key,
                content_hash="",
                recorded_us=0,
            )
            for key in range(1, SIZE)
        )
        session.flush()
        made = [(b, a, a, None) for b, a in sources] + [(b, a, None, a) for b, a in evidence]
        session.add_all(
            Usage(
                certificate_id=user,
                position=0,
                item_id=item,
                role="force_reference",
                used_us=user,
                used_end_us=user,
                source_id=source,
                evidence_id=confirmed,
            )
            for user, item, source, confirmed in made
        )
        session.flush()
        yield session, nx.DiGraph(sources), nx.DiGraph(evidence)
        session.rollback()
