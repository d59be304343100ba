"""What is shown of one certificate's corrections: of its uses and of its item, in order of time."""

from __future__ import annotations

from oracle_cases import cal, lab, ref

SAID = {"by": "M. Tarn", "reason": "labels exchanged"}


def test_corrections_of_uses_and_of_the_item_stand_together(client):
    made = lab(cal("K", "A", "02-01", [ref("REF")]), cal("B-1", "B", "03-01", []))
    assert client.post("/v1/imports", json=made).status_code == 201
    use = {"use": ref("REF", "0.5")}
    client.post("/v1/certificates/K/uses/0/corrections", json=SAID | use)
    swap = {"items": ["A", "B"], "from": "2025-01-01", "until": "2025-02-28"}
    assert client.post("/v1/identity-swaps", json=SAID | swap).status_code == 201
    shown = client.get("/v1/certificates/K").get_json()
    assert shown["item"] == "B"
    first, second = shown["corrections"]
    assert (first["position"], first["after"]["weight"]) == (0, "0.5")
    assert (second["before"], second["after"]) == ({"item": "A"}, {"item": "B"})
    assert (second["by"], second["reason"]) == (SAID["by"], SAID["reason"])
    assert shown["use_corrections"] == [first]
