"""Ready components over HTTP."""

from __future__ import annotations

from api.rules.uncertainty.components import READY


def test_every_ready_component_is_explained_with_its_source(client):
    answer = client.get("/v1/uncertainty-components")
    assert answer.status_code == 200
    items = answer.get_json()["items"]
    assert [one["kind"] for one in items] == list(READY)
    assert all(one["source"] and one["formula"] for one in items)


def test_the_figures_of_every_distribution_are_listed(client):
    forms = client.get("/v1/uncertainty-components").get_json()["distributions"]
    assert forms["trapezoidal"] == [["half_width", "beta"]]
    assert ["U", "k"] in forms["normal"]
