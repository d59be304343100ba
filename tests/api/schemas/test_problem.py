"""The documented form of an error is the form that is answered."""

from __future__ import annotations

from api.schemas.problem import ProblemSchema


def test_a_real_answer_has_only_documented_fields(client):
    body = client.post("/v1/keys", json={"name": 1, "scopes": ["read"]}).get_json()
    assert ProblemSchema().load(body) == body
