"""The task of each page, done as a quality manager would, with the mouse or by keyboard."""

from __future__ import annotations

import json
import re

import pytest
from sqlalchemy import insert, select

from api.store.database import Database
from api.store.tables import Recall, RecallEntry
from tests.browser.site import watched

expect = pytest.importorskip("playwright.sync_api", reason="Playwright is not installed").expect


def test_somebody_finds_a_certificate_from_the_start_while_typing(onlooker):
    page = onlooker.page
    onlooker.go("/")
    page.get_by_label("Certificate, item or customer").press_sequentially("25-0090")
    expect(page.locator("#found").get_by_role("status")).to_contain_text("1 record")
    page.locator("#found").get_by_role("link", name="MV-25-0090").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Certificate MV-25-0090")
    expect(page.locator("main")).to_contain_text("Recalled")


def test_somebody_follows_an_item_up_and_down(onlooker):
    page = onlooker.page
    onlooker.go("/items/WS-101")
    expect(page.get_by_role("img", name="History of WS-101")).to_be_visible()
    page.get_by_role("table", name="Each certificate with the items it used").get_by_role(
        "link", name="REF-500"
    ).first.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Item REF-500")
    expect(page.get_by_role("heading", name="Load cycles")).to_be_visible()


def test_a_decision_follows_what_is_typed_and_is_stored_on_request(desktop):
    page = desktop.page
    desktop.go("/")
    page.get_by_role("link", name="Decide a result").click()
    page.get_by_label("Result", exact=True).fill("10.012")
    page.get_by_label("Expanded uncertainty U").fill("0.004")
    page.get_by_label("Upper limit").fill("10.015")
    decision = page.get_by_role("region", name="Decision")
    expect(decision.get_by_role("status")).to_contain_text("pass")
    picture = decision.get_by_role("img", name="The result 10.012 kN")
    before = picture.get_attribute("src")
    page.get_by_label("Rule", exact=True).select_option("guard_U")
    expect(decision.get_by_role("status")).to_contain_text("fail")
    expect(decision).to_contain_text("is not met")
    expect(decision).to_contain_text("10.011")
    assert picture.get_attribute("src") != before
    assert picture.evaluate("i => i.decode().then(() => i.naturalWidth > 0)")
    page.get_by_role("button", name="Store this decision").click()
    expect(page.locator("main")).to_contain_text("Stored as decision 1.")


def test_a_decision_is_made_by_keyboard_and_without_scripts(without_scripts):
    page = without_scripts.page
    without_scripts.go("/decide")
    page.get_by_label("Result", exact=True).focus()
    page.keyboard.type("50.012")
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    page.keyboard.type("0.020")
    page.get_by_label("Lower limit").focus()
    page.keyboard.type("49.95")
    page.keyboard.press("Tab")
    page.keyboard.type("50.05")
    page.keyboard.press("Enter")
    expect(page.get_by_role("region", name="Decision")).to_contain_text("is met")


def report(seen) -> None:
    """Enter the first fault of the demonstration, with an effect that is too small."""
    page = seen.page
    seen.go("/")
    page.get_by_role("link", name="Report a fault").click()
    page.get_by_label("Item, certificate or method").press_sequentially("ref-500")
    page.get_by_role("table", name="Items: choose the faulty one").get_by_role(
        "link", name="REF-500A"
    ).click()
    page.get_by_label("Last good evidence").fill("2024-09-16 10:00")
    page.get_by_label("Taken out of use").fill("2025-09-11 16:00")
    page.get_by_label("Error of the true force, %").fill("-0.0001")


def test_a_fault_is_previewed_as_it_is_entered_and_then_stored(desktop):
    page = desktop.page
    report(desktop)
    preview = page.get_by_role("region", name="Window and preview")
    expect(preview).to_contain_text("CHK-003, 2025-03-03 10:00: does not narrow it")
    # The picture of the window and its numbers follow the effect.
    page.get_by_label("Error of the true force, %").fill("-0.07")
    expect(preview.get_by_role("status")).to_contain_text("40 certificates are affected")
    expect(preview).to_contain_text("CHK-003, 2025-03-03 10:00: narrows the window")
    expect(preview).to_contain_text("Customers concerned: 9")
    expect(preview).to_contain_text("Verdicts that change: 9")
    assert desktop.accessible() == []
    page.get_by_role("button", name="Store this recall").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Recall R-00003: REF-500A")


def test_only_the_fields_of_the_kind_of_fault_are_shown(onlooker):
    page = onlooker.page
    onlooker.go("/recalls/new?item=RDO-1")
    expect(page.get_by_label("Gain")).to_be_hidden()
    page.get_by_label("Kind of fault").select_option("readout_gain")
    expect(page.get_by_label("Gain")).to_be_visible()
    expect(page.get_by_label("Channel")).to_be_visible()
    expect(page.get_by_label("Error of the true force, %")).to_be_hidden()
    page.get_by_label("Kind of fault").select_option("wrong_correction_factor")
    expect(page.get_by_label("Wrong factor entered")).to_be_visible()
    expect(page.get_by_label("Last good evidence")).to_be_hidden()


def test_a_fault_is_reported_without_scripts(without_scripts):
    page = without_scripts.page
    without_scripts.go("/recalls/new?item=REF-500A")
    page.get_by_label("Last good evidence").fill("2024-09-16 10:00")
    page.get_by_label("Taken out of use").fill("2025-09-11 16:00")
    page.get_by_label("Error of the true force, %").fill("-0.07")
    page.get_by_role("button", name="Preview").click()
    expect(page.get_by_role("region", name="Window and preview")).to_contain_text(
        "40 certificates are affected"
    )
    page.get_by_role("button", name="Store this recall").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Recall R-00003: REF-500A")


def test_a_recall_is_worked_through_by_keyboard(desktop):
    page = desktop.page
    desktop.go("/recalls/1")
    heading = page.get_by_role("columnheader", name="Verdict").get_by_role("link")
    heading.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("columnheader", name=re.compile("^Verdict"))).to_have_attribute(
        "aria-sort", "descending"
    )
    page.get_by_role("link", name="show the path of MV-25-0075").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="MV-25-0075 in this recall")).to_be_visible()
    picture = page.get_by_role("img", name="From the fault at the left")
    expect(picture.locator(".link.lit")).to_have_count(4)
    expect(picture).to_contain_text("MV-25-0075")
    box = page.get_by_role("checkbox", name="MV-25-0075")
    box.focus()
    page.keyboard.press("Space")
    expect(page.get_by_role("status").filter(has_text="ticked")).to_have_text("1 ticked")
    page.get_by_label("Disposition", exact=True).select_option("reissue")
    page.locator("#by").fill("Ida Example")
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_contain_text("Recorded for 1 certificate.")
    expect(page.locator("main")).to_contain_text("39 of 40 without a disposition")
    page.get_by_label("To confirm that all are meant: how many?").last.fill("1")
    page.locator("#revisions-by").fill("Ida Example")
    page.keyboard.press("Enter")
    expect(page.get_by_role("status").filter(has_text="draft")).to_contain_text("1 draft recorded")


def test_all_rows_are_ticked_with_one_box(onlooker):
    page = onlooker.page
    onlooker.go("/recalls/1?verdict_changes=true")
    page.get_by_role("checkbox", name="Tick every row of this page").check()
    expect(page.get_by_role("status").filter(has_text="ticked")).to_have_text("9 ticked")


def test_notices_are_previewed_created_and_opened_for_print(desktop):
    page = desktop.page
    desktop.go("/recalls/1")
    page.get_by_role("link", name="Notices").first.click()
    page.get_by_label("Authorised by").fill("Ida Example")
    page.get_by_role("button", name="Preview").click()
    expect(page.get_by_role("heading", name="Preview: 9 notices")).to_be_visible()
    page.get_by_label("Authorised by").fill("Ida Example")
    page.get_by_role("button", name="Create the notices").click()
    expect(page.locator("main")).to_contain_text("9 notices created.")
    page.get_by_role("link", name="R-00001-N01", exact=True).click()
    expect(page.locator("body")).to_contain_text("Authorised by Ida Example")


def test_exports_are_saved(onlooker):
    page = onlooker.page
    onlooker.go("/recalls/1")
    with page.expect_download() as download:
        page.get_by_role("link", name="CSV").click()
    assert download.value.suggested_filename == "R-00001.csv"


def test_a_fault_of_a_certificate_and_one_of_an_item_are_reported_together_by_keyboard(desktop):
    page = desktop.page
    desktop.go("/recalls/new")
    page.get_by_label("Item, certificate or method").focus()
    page.keyboard.type("MV-25-0052")
    page.locator("#found").get_by_role("link", name="MV-25-0052").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("certificate MV-25-0052")
    preview = page.get_by_role("region", name="Window and preview")
    expect(preview.get_by_role("img", name="The uses of certificate MV-25-0052")).to_be_visible()
    page.get_by_label("Error of the true force, %").focus()
    page.keyboard.type("-0.07")
    expect(preview.get_by_role("status")).to_contain_text("26 certificates are affected")
    page.get_by_role("button", name="Add another fault").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("what else is wrong?")
    page.get_by_label("Item, certificate or method").focus()
    page.keyboard.type("RDO-1")
    page.get_by_role("button", name="RDO-1", exact=True).focus()
    assert desktop.accessible() == []
    page.keyboard.press("Enter")
    expect(page.get_by_role("group", name="Reported together with")).to_contain_text("MV-25-0052")
    page.get_by_label("Kind of fault").select_option("readout_gain")
    page.get_by_label("Gain").focus()
    page.keyboard.type("1.0004")
    expect(preview.get_by_role("status")).to_contain_text("Preview, nothing is stored")
    expect(preview).to_contain_text("RDO-1: from")
    assert desktop.accessible() == []
    page.get_by_role("button", name="Store this recall").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Recall R-00003: MV-25-0052, RDO-1")


def test_a_fault_of_a_method_is_reported_without_scripts(without_scripts):
    page = without_scripts.page
    without_scripts.go("/recalls/new")
    page.get_by_label("Item, certificate or method").fill("FP-02")
    page.get_by_role("button", name="Search").click()
    page.get_by_role("link", name="FP-02 edition 4").click()
    page.get_by_label("Kind of fault").select_option("unknown")
    page.get_by_role("button", name="Store this recall").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Recall R-00003: FP-02 edition 4")


def test_a_case_is_assessed_and_work_resumes_by_keyboard(desktop):
    page = desktop.page
    desktop.go("/recalls/1")
    page.locator("#step-by").focus()
    page.keyboard.type("Ida Example")
    page.keyboard.press("Tab")
    page.keyboard.type("the comparison was repeated")
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_contain_text("customers concerned were not told")
    page.locator("#resume-by").focus()
    page.keyboard.type("Ida Example")
    page.keyboard.press("Tab")
    page.keyboard.type("repaired")
    page.keyboard.press("Enter")
    expect(page.locator("main")).to_contain_text("Who assessed a case cannot let work resume.")
    assert desktop.accessible() == []
    page.get_by_role("link", name="Back to the recall").click()
    page.locator("#resume-by").fill("Tor Example")
    page.locator("#resume-reason").fill("repaired")
    page.get_by_role("button", name="Let work resume").click()
    expect(page.locator("main")).to_contain_text("Work may resume: authorised by Tor Example")


def test_an_answer_of_a_customer_is_recorded(desktop):
    page = desktop.page
    desktop.go("/recalls/1/notices")
    page.get_by_label("Authorised by").fill("Ida Example")
    page.get_by_role("button", name="Create the notices").click()
    page.get_by_role("link", name="record what became of R-00001-N01").click()
    page.get_by_role("button", name="Record it").focus()
    page.get_by_label("it was delivered").focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    expect(page.get_by_label("the customer confirmed it")).to_be_checked()
    page.get_by_label("To or from whom").fill("Lena Example")
    page.get_by_label("How").select_option("phone")
    page.get_by_label("When").fill("last week")
    page.get_by_label("Your name").fill("Ida Example")
    page.get_by_role("button", name="Record it").click()
    expect(page.get_by_role("alert")).to_contain_text("When")
    assert desktop.accessible() == []
    page.get_by_label("When").fill("")
    page.get_by_label("Your name").fill("Ida Example")
    page.get_by_role("button", name="Record it").click()
    expect(page.locator("main")).to_contain_text("1 acknowledged")


def test_a_customer_checks_its_certificate(chromium, worked_on):
    context = chromium.new_context()
    with watched(context, worked_on) as seen:
        seen.sign_in(worked_on.customer_token)
        page = seen.page
        expect(page.get_by_role("heading", level=1)).to_have_text("Your certificates")
        page.get_by_label("Certificate number").press_sequentially("MV")
        page.locator("#found").get_by_role("link").first.click()
        expect(page.get_by_role("heading", level=1)).to_contain_text("Certificate MV")
        expect(page.get_by_role("link", name="Report a fault")).to_have_count(0)
        assert seen.accessible() == []
    context.close()


def test_ten_thousand_affected_certificates_are_there_within_a_second_and_stay_usable(desktop):
    """Entries are copies of the demonstration's, since only their number matters here."""
    with Database(desktop.site.database_url).write() as session:
        many_entries(session, 10_000)
    page = desktop.page
    desktop.go("/recalls/1")
    desktop.go("/recalls/1?sort=changed")
    assert page.evaluate("performance.getEntriesByType('navigation')[0].loadEventEnd") < 1000
    expect(page.locator("main")).to_contain_text("10,000 certificates affected; 1 to 100 shown")
    expect(page.locator("main")).to_contain_text("Page 1 of 100")
    page.get_by_role("link", name="Next 100").first.click()
    expect(page.locator("main")).to_contain_text("101 to 200 shown")
    page.locator("#filter-item").fill("LC-02")
    page.get_by_role("button", name="Filter").click()
    expect(page.get_by_role("table").first).to_contain_text("LC-02")
    assert page.evaluate("performance.getEntriesByType('navigation')[0].loadEventEnd") < 1000


def many_entries(session, wanted: int) -> None:
    """Fill the list of affected certificates of the first recall up to so many."""
    affected = select(RecallEntry).where(
        RecallEntry.recall_id == 1, RecallEntry.list_name == "affected"
    )
    known = list(session.scalars(affected.order_by(RecallEntry.position)))
    columns = [column.name for column in RecallEntry.__table__.columns]
    rows = [
        {name: getattr(known[place % len(known)], name) for name in columns} | {"position": place}
        for place in range(len(known), wanted)
    ]
    session.execute(insert(RecallEntry), rows)
    recall = session.get_one(Recall, 1)
    head = json.loads(recall.head)
    head["summary"]["affected"] = wanted
    recall.head = json.dumps(head)
