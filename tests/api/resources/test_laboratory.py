"""The laboratory's own record: who sends the notices, and how it is reached."""

from __future__ import annotations

WHO = {
    "name": "Marrowvale Force Laboratory",
    "address": "3 Mill Lane, Marrowvale",
    "contact": "quality@marrowvale.example",
}


def test_the_record_is_changed_by_who_read_it_and_shown_again(client):
    shown = client.get("/v1/laboratory")
    assert shown.status_code == 200
    changed = client.patch("/v1/laboratory", json=WHO, headers={"If-Match": shown.headers["ETag"]})
    assert changed.status_code == 200, changed.get_json()
    assert WHO.items() <= client.get("/v1/laboratory").get_json().items()


def test_a_change_needs_the_version_that_was_read(client):
    assert client.patch("/v1/laboratory", json=WHO).status_code == 428
    stale = client.patch("/v1/laboratory", json=WHO, headers={"If-Match": '"of-yesterday"'})
    assert stale.status_code == 412


def test_a_change_needs_the_scope(client, keys):
    answer = client.patch("/v1/laboratory", json=WHO, headers=keys.headers("read"))
    assert answer.status_code == 403
