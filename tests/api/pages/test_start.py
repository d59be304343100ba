"""The start shows what is open, and finds what somebody looks for."""

from __future__ import annotations

import sqlalchemy as sa

from api.store.casework import RecallCase


def test_what_is_open_stands_on_the_start(visitor):
    page = visitor.get("/").text
    assert "R-00001" in page
    assert "R-00002" in page
    assert "PIN-23A" in page  # 2504 of 2400 cycles, tests/fixtures/test_demo_setups.py
    assert "past its life" in page
    assert "Set-up checks that found a difference: 2" in page
    assert "Items overdue: 11" in page  # every due date of the demonstration but two has passed


def test_where_set_ups_are_spoken_of_the_caution_stands(visitor):
    for address in ("/", "/items/ADP-22", "/recalls/new?item=PIN-22A", "/recalls/2"):
        assert "Stay within the rated capacity of the weakest part" in visitor.get(address).text


def test_the_search_looks_in_certificates_items_and_customers(visitor):
    assert "/certificates/MV-25-0075" in visitor.get("/?q=25-0075").text
    assert "/items/REF-500A" in visitor.get("/?q=ref-500").text
    assert "Corvane Offshore" in visitor.get("/?q=corvane").text
    assert 'href="/recalls/2"' in visitor.get("/?q=r-00002").text.split('id="recalls"')[0]
    assert "No record" in visitor.get("/?q=nothing-like-it").text


def test_what_stands_for_anything_in_a_pattern_is_a_plain_sign_in_a_search(visitor):
    assert "No record" in visitor.get("/?q=%25").text
    assert "No record" in visitor.get("/?q=_V-25").text


def test_a_script_gets_the_list_alone(visitor):
    answer = visitor.get("/?q=MV-25-0075", headers={"Tracehold-Part": "yes"})
    assert answer.headers["Tracehold-Part"] == "yes"
    assert "<html" not in answer.text
    assert "MV-25-0075" in answer.text
    assert "What is open" not in answer.text


def test_what_was_searched_for_is_shown_as_text(visitor):
    page = visitor.get("/?q=%3Cscript%3Ealert(1)%3C/script%3E").text
    assert "<script>alert" not in page
    assert "&lt;script&gt;" in page


def test_a_closed_case_that_later_records_contradict_stands_on_the_start(
    visitor, database, keys, recheck
):
    with database.write() as session:
        session.execute(
            sa.update(RecallCase).where(RecallCase.recall_id == 1).values(state="closed")
        )
    assert "to be reopened" not in visitor.get("/").text
    listed = visitor.client.get("/v1/recalls/1", headers=keys.headers()).get_json()["affected"]
    address = f"/v1/certificates/{listed[0]['certificate']}/void"
    body = {"reason": "wrong sheet"}
    assert visitor.client.post(address, json=body, headers=keys.headers()).status_code == 200
    page = visitor.get("/recalls/1").text
    assert "Being compared with today's records since" in page.replace("&#39;", "'")
    recheck()
    start = visitor.get("/").text
    assert "1 closed case to be reopened" in start
    assert '<a href="/recalls/1">R-00001</a>' in start
    page = visitor.get("/recalls/1").text
    assert "This case is closed and to be reopened." in page
    assert f"certificate {listed[0]['certificate']} was voided" in page
