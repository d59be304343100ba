"""API keys over HTTP."""

from __future__ import annotations

import pytest

NEW = {
    "name": "bench",
    "scopes": ["decide", "read"],
    "customer": "Lift Co",
    "expires": "2100-01-01",
}


def test_a_key_is_created_used_listed_and_revoked(app, client):
    made = client.post("/v1/keys", json=NEW)
    body = made.get_json()
    assert made.status_code == 201
    assert made.headers["Location"] == f"/v1/keys/{body['id']}"
    assert body["token"].startswith(f"th_{body['id']}_")
    assert (body["scopes"], body["customer"]) == (["read", "decide"], "Lift Co")
    assert body["expires_at"] == "2100-01-01T00:00:00Z"
    shown = client.get(f"/v1/keys/{body['id']}").get_json()
    assert shown == {k: v for k, v in body.items() if k != "token"}
    revoked = client.delete(f"/v1/keys/{body['id']}").get_json()
    assert revoked["revoked_at"] is not None
    headers = {"Authorization": f"Bearer {body['token']}"}
    assert app.test_client().get("/v1/keys", headers=headers).status_code == 401


def test_the_token_is_shown_at_creation_only(client):
    token = client.post("/v1/keys", json=NEW).get_json()["token"]
    assert token not in client.get("/v1/keys").text
    assert token.split("_", 2)[2] not in client.get("/v1/keys").text


def test_the_list_comes_in_pages(client):
    for _ in range(3):
        client.post("/v1/keys", json=NEW)
    first = client.get("/v1/keys?limit=3").get_json()
    second = client.get(first["next"]).get_json()
    assert (len(first["items"]), len(second["items"]), second["next"]) == (3, 1, None)


@pytest.mark.parametrize("scope", ["read", "decide", "record", "recall"])
def test_only_admin_may_touch_keys(app, keys, scope):
    bare, headers = app.test_client(), keys.headers(scope)
    assert bare.get("/v1/keys", headers=headers).status_code == 403
    assert bare.post("/v1/keys", json=NEW, headers=headers).status_code == 403
    assert bare.delete("/v1/keys/x", headers=headers).status_code == 403


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"name": ""}, "/name"),
        ({"scopes": ["write"]}, "/scopes"),
        ({"scopes": []}, "/scopes"),
        ({"scopes": "read"}, "/scopes"),
        ({"expires": "2001-01-01"}, "/expires"),
        ({"expires": "2100-01-01T00:00:00"}, "/expires"),
        ({"secret": "x"}, "/secret"),
    ],
)
def test_a_faulty_key_is_refused_with_a_pointer(client, change, pointer):
    answer = client.post("/v1/keys", json={**NEW, **change})
    assert answer.status_code == 422
    assert answer.get_json()["errors"][0]["pointer"] == pointer


def test_a_key_that_is_not_there_is_404(client):
    assert client.get("/v1/keys/none").status_code == 404
    assert client.delete("/v1/keys/none").status_code == 404


def test_a_rotated_key_has_the_same_rights_and_the_old_one_a_time_of_grace(app, client):
    old = client.post("/v1/keys", json=NEW).get_json()
    rotated = client.post(f"/v1/keys/{old['id']}/rotation", json={"grace_hours": 1})
    assert rotated.status_code == 201, rotated.text
    made = rotated.get_json()
    assert rotated.headers["Location"] == f"/v1/keys/{made['id']}"
    assert made["id"] != old["id"]
    assert made["token"].startswith(f"th_{made['id']}_")
    assert made["token"].split("_", 2)[2] != old["token"].split("_", 2)[2]
    for name in ("name", "scopes", "customer", "person", "expires_at"):
        assert made[name] == old[name], name
    assert made["replaces"]["id"] == old["id"]
    shown = client.get(f"/v1/keys/{old['id']}").get_json()
    assert shown["expires_at"] == made["replaces"]["expires_at"] < old["expires_at"]
    assert shown["revoked_at"] is None
    bare = app.test_client()
    for token in (old["token"], made["token"]):
        headers = {"Authorization": f"Bearer {token}"}
        assert bare.get("/v1/certificates", headers=headers).status_code == 200
    assert made["token"] not in client.get("/v1/journal").text


def test_a_rotation_without_grace_ends_the_old_key_at_once(app, client):
    old = client.post("/v1/keys", json=NEW).get_json()
    headers = {"Authorization": f"Bearer {old['token']}"}
    bare = app.test_client()
    assert bare.get("/v1/certificates", headers=headers).status_code == 200
    made = client.post(f"/v1/keys/{old['id']}/rotation", json={"grace_hours": 0}).get_json()
    assert bare.get("/v1/certificates", headers=headers).status_code == 401
    headers = {"Authorization": f"Bearer {made['token']}"}
    assert bare.get("/v1/certificates", headers=headers).status_code == 200


def test_a_rotation_lengthens_no_right_unless_it_is_asked_to(client):
    old = client.post("/v1/keys", json=NEW | {"expires": "2099-01-01"}).get_json()
    made = client.post(f"/v1/keys/{old['id']}/rotation", json={}).get_json()
    assert made["expires_at"] == "2099-01-01T00:00:00Z"
    body = {"expires": "2100-06-01"}
    made = client.post(f"/v1/keys/{made['id']}/rotation", json=body).get_json()
    assert made["expires_at"] == "2100-06-01T00:00:00Z"


def test_only_a_valid_key_can_be_rotated(client):
    old = client.post("/v1/keys", json=NEW).get_json()
    client.delete(f"/v1/keys/{old['id']}")
    assert client.post(f"/v1/keys/{old['id']}/rotation", json={}).status_code == 409
    assert client.post("/v1/keys/none/rotation", json={}).status_code == 404
    for body in ({"grace_hours": -1}, {"grace_hours": 721}, {"expires": "2001-01-01"}):
        live = client.post("/v1/keys", json=NEW).get_json()["id"]
        assert client.post(f"/v1/keys/{live}/rotation", json=body).status_code == 422


def test_a_rotation_stands_in_the_journal_with_both_keys(client):
    old = client.post("/v1/keys", json=NEW).get_json()["id"]
    made = client.post(f"/v1/keys/{old}/rotation", json={}).get_json()["id"]
    text = client.get("/v1/journal").text
    assert "key rotated" in text
    assert old in text
    assert made in text
