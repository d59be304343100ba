"""No route without a rule: who may use each one, tried on every route that is served."""

from __future__ import annotations

import re

import pytest

from api.pages.docs import METHODS
from api.services.access.keys import SCOPES

# Addresses that need no key, each with the reason.
OPEN = {
    "/healthz": "a supervisor asks; it says only that the process answers",
    "/metrics": "a scraper on the same machine; any other needs a key (test_metrics.py)",
    "/readyz": "a supervisor asks; it says only whether the database is reachable",
    "/v1/openapi.json": "the form of the API, the same for everybody",
    "/v1/docs": "the same as a page",
    "/sign-in": "a key is entered here",
    "/sign-out": "ends a session, whoever asks with its form",
    "/problems/<code>": "explains a kind of problem, the same for everybody",
    "/assets/<path:filename>": "style sheets and scripts of the pages",
}
VALUES = {"int": "1", "list_name": "affected"}


@pytest.fixture
def operations(client):
    """Address with its parameters filled in, method, and the documented operation."""
    document = client.get("/v1/openapi.json").get_json()
    return [
        (re.sub(r"{(\w+)}", lambda found: filled(found[1]), path), method, entry[method])
        for path, entry in document["paths"].items()
        for method in METHODS
        if method in entry and path not in OPEN
    ]


def filled(name: str) -> str:
    return VALUES["int"] if name.endswith("_id") or name == "position" else VALUES.get(name, "x")


def kind_of(answer) -> str:
    """The problem of an answer; of one that is none, its status."""
    if answer.mimetype != "application/problem+json":
        return str(answer.status_code)
    return f"{answer.status_code} {answer.get_json()['type'].removeprefix('/problems/')}"


def tried(client, operations, headers) -> dict[str, str]:
    return {
        f"{method} {path}": kind_of(client.open(path, method=method.upper(), headers=headers))
        for path, method, _ in operations
    }


def test_every_address_served_is_documented_with_a_scope_or_open_for_a_reason(app, client):
    paths = client.get("/v1/openapi.json").get_json()["paths"]
    for rule in app.url_map.iter_rules():
        page = getattr(app.view_functions[rule.endpoint], "page_scope", None)
        if rule.rule in OPEN or page in SCOPES:  # a page has its scope from the same keys
            continue
        documented = paths[re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", rule.rule)]
        for method in rule.methods - {"HEAD", "OPTIONS"}:
            operation = documented[method.lower()]
            assert operation["x-scope"] in SCOPES, f"{method} {rule.rule}"
            assert operation["x-customer-keys"] in (True, False)
            assert operation["security"] == [{"apiKey": []}]


def test_what_is_open_is_still_served_and_says_nothing_of_the_laboratory(app, client):
    served = {rule.rule for rule in app.url_map.iter_rules()}
    assert set(OPEN) <= served
    for path in ("/healthz", "/readyz", "/v1/openapi.json", "/v1/docs", "/problems/conflict"):
        assert client.get(path, headers={"Authorization": ""}).status_code == 200


def test_without_a_key_every_operation_is_401(client, operations):
    assert len(operations) > 80
    answers = tried(client, operations, {"Authorization": ""})
    assert set(answers.values()) == {"401 unauthorized"}, answers


@pytest.mark.parametrize("scope", SCOPES)
def test_a_key_with_every_scope_but_the_one_needed_is_403(client, keys, operations, scope):
    needing = [one for one in operations if one[2]["x-scope"] == scope]
    assert needing
    # admin holds them all, so a key of the other scopes has no admin either.
    others = [other for other in SCOPES if other not in (scope, "admin")]
    answers = tried(client, needing, keys.headers(*others))
    assert set(answers.values()) == {"403 missing-scope"}, answers


def test_a_key_of_a_customer_is_403_wherever_its_door_is_not_named(client, keys, operations):
    closed = [one for one in operations if not one[2]["x-customer-keys"]]
    answers = tried(client, closed, keys.headers(customer="Lift Co"))
    assert set(answers.values()) == {"403 forbidden"}, answers


def test_the_doors_for_customers_are_these(client):
    paths = client.get("/v1/openapi.json").get_json()["paths"]
    found = {
        f"{method} {path}"
        for path, entry in paths.items()
        for method in METHODS
        if entry.get(method, {}).get("x-customer-keys")
    }
    # Each is tried with a whole laboratory in tests/whole/test_customer_keys.py.
    assert found == {
        "get /v1/certificates",
        "get /v1/certificates/{number}",
        "get /v1/certificates/{number}/curve",
        "get /v1/changes",
        "get /v1/recalls/{recall_id}/notices",
        "get /v1/recalls/{recall_id}/notices/{notice_id}",
        "post /v1/recalls/{recall_id}/notices/{notice_id}/acknowledgements",
    }
