"""What was put right stands on the pages of the certificate and of the item, as it was and is.

The old record is kept in view: ISO/IEC 17025:2017, 7.5.2, from memory.
"""

from __future__ import annotations

import re

import pytest

from api.pages.corrections import of_certificate, of_item

SAID = {"by": "M. Tarn", "reason": "the work sheet says <otherwise>"}
AT = "2025-06-01T10:00:00Z"
NUMBER = "MV-25-0076"


def put_right(page):
    """Rows of the table of corrections of a page: plain texts of its cells."""
    found = page.partition('id="corrections"')[2].partition("</table>")[0]
    rows = re.findall(r"<tr>(.*?)</tr>", found, re.S)[1:]
    return [
        [re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", cell)).strip() for cell in re.findall(
            r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.S)]
        for row in rows
    ]  # fmt: skip


@pytest.fixture
def write(visitor, keys):
    """Send a correction as a program would."""

    def sent(path, **body):
        answer = visitor.client.post(path, json=SAID | body, headers=keys.headers())
        assert answer.status_code == 201, answer.text
        return answer.get_json()

    return sent


def test_a_certificate_shows_uses_added_replaced_and_taken_out(visitor, write):
    assert put_right(visitor.get(f"/certificates/{NUMBER}").text) == []
    at = f"/v1/certificates/{NUMBER}/uses"
    used = {"item": "PIN-22B", "role": "adapter"}
    write(at, use=used)
    write(f"{at}/0/corrections", use=used | {"note": "right"})
    write(f"{at}/0/corrections", use=None)
    removed, replaced, added = put_right(visitor.get(f"/certificates/{NUMBER}").text)
    assert (removed[:2], replaced[:2]) == (["use 0", "taken out"], ["use 0", "corrected"])
    assert added[1] == "added"
    assert added[2:4] == ["nothing", "item PIN-22B role adapter"]
    assert removed[2:4] == ["item PIN-22B role adapter note right", "nothing"]
    assert "note right" in replaced[3]
    for row in (removed, replaced, added):
        assert row[5:] == ["M. Tarn", "the work sheet says &lt;otherwise&gt;"]


def test_an_item_shows_withdrawn_checks_and_holdings_and_exchanges(visitor, write, keys):
    headers = keys.headers()
    held = visitor.client.get("/v1/compositions?part=PIN-22A", headers=headers).get_json()["items"]
    write(f"/v1/compositions/{held[0]['id']}/corrections", withdrawn=True)
    write(f"/v1/compositions/{held[0]['id']}/corrections", withdrawn=False, share="0.5")
    check = {"id": "K-77", "item": "PIN-22A", "at": "2025-02-01", "result": "pass"}
    assert visitor.client.post("/v1/checks", json=check, headers=headers).status_code == 201
    write("/v1/checks/K-77/corrections", result="fail")
    write("/v1/checks/K-77/corrections", withdrawn=True)
    page = visitor.get("/items/PIN-22A").text
    withdrawn, failed, back, out = put_right(page)
    assembly = held[0]["assembly"]
    assert withdrawn[:2] == ["check K-77", "withdrawn"]
    assert "result fail" in withdrawn[2]
    assert withdrawn[3] == "nothing"
    assert failed[1:4] == ["corrected", "result pass", "result fail"]
    assert (back[:2], back[3]) == ([f"PIN-22A in {assembly}", "put back"], "share 0.5")
    assert (out[1], out[3]) == ("withdrawn", "nothing")
    # The assembly shows its own side of it.
    assert put_right(visitor.get(f"/items/{assembly}").text)[-1][0] == f"PIN-22A in {assembly}"


def test_a_customer_reads_no_corrections(visitor, signed_in, write):
    write("/v1/certificates/MV-25-0075/uses", use={"item": "PIN-22B", "role": "adapter"})
    page = signed_in(customer="Corvane Offshore").get("/certificates/MV-25-0075").text
    assert "M. Tarn" not in page


def test_an_exchange_names_both_items_and_what_moved():
    swap = {
        "items": ["A", "B"],
        "from": "2025-03-01",
        "until": "2025-04-01",
        "moved": {"uses": 2, "checks": 0},
        "at": AT,
    }
    (line,) = of_item([], [], [swap | SAID])
    assert (line.of, line.done) == ("identity", "exchanged")
    time = "from 2025-03-01 until 2025-04-01"
    assert line.before == [("recorded as", "A and B"), ("time", time)]
    assert line.after == [("each is", "the other"), ("uses", "2")]


def test_the_latest_comes_first_and_only_what_changed_is_named():
    first = {"position": 1, "before": {"item": "A", "weight": {"1": "0.5"}, "points": [1, 2]}}
    first |= {"after": {"item": "A", "weight": "1"}, "at": "2025-06-01T10:00:00.5Z"} | SAID
    item = {"before": {"item": "A"}, "after": {"item": "B"}, "at": AT} | SAID
    lines = of_certificate([item, first])
    assert [line.of for line in lines] == ["use 1", "calibration"]
    assert lines[0].before == [("weight", "1: 0.5"), ("points", "1, 2")]
    assert lines[0].after == [("weight", "1")]
