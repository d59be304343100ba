"""The OpenAPI document is valid, complete and says what is answered."""

from __future__ import annotations

from pathlib import Path

import pytest
from openapi_spec_validator import OpenAPIV31SpecValidator

from api.pages.docs import METHODS
from api.services.access.keys import SCOPES
from api.services.base.cautions import CAUTION

ROOT = Path(__file__).parents[2]
OPEN = {"/healthz", "/readyz", "/metrics", "/v1/openapi.json", "/v1/docs"}


@pytest.fixture
def document(client):
    """The served document."""
    return client.get("/v1/openapi.json").get_json()


def operations_of(document):
    """Address, method and operation of everything documented."""
    for path, entry in document["paths"].items():
        for method in METHODS:
            if method in entry:
                yield path, method, entry[method]


def test_the_document_is_valid_openapi_3_1(document):
    assert document["openapi"].startswith("3.1")
    assert list(OpenAPIV31SpecValidator(document).iter_errors()) == []


def test_every_operation_but_the_open_ones_names_its_scope(document):
    for path, method, operation in operations_of(document):
        if path in OPEN:
            assert "x-scope" not in operation
        else:
            assert operation.get("x-scope") in SCOPES, f"{method} {path}"
            assert operation["security"] == [{"apiKey": []}]


def test_every_address_under_v1_is_documented(app, document):
    served = {
        rule.rule
        for rule in app.url_map.iter_rules()
        if rule.rule.startswith("/v1/") and rule.rule not in OPEN
    }
    assert len(served) == sum(path.startswith("/v1/") for path in document["paths"])


def test_every_operation_is_summed_up_in_a_sentence(document):
    for path, method, operation in operations_of(document):
        assert operation.get("summary"), f"{method} {path}"


def test_every_error_is_documented_as_problem_details(document):
    for name, response in document["components"]["responses"].items():
        assert set(response.get("content", {})) <= {"application/problem+json"}, name
    for path, method, operation in operations_of(document):
        assert "default" in operation["responses"], f"{method} {path}"


def test_no_number_is_documented_as_a_binary_one_unless_it_is_a_probability(document):
    decimals = [
        field
        for schema in document["components"]["schemas"].values()
        for field in schema.get("properties", {}).values()
        if field.get("format") == "decimal"
    ]
    assert all("string" in field["type"] for field in decimals)


def test_the_description_and_the_readme_carry_the_one_caution(document):
    assert "competent, authorised person" in CAUTION
    assert CAUTION in document["info"]["description"]
    assert CAUTION in " ".join((ROOT / "README.md").read_text("utf-8").split())
