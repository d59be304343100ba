"""Every page: usable by everybody, nothing from elsewhere, fits a phone, prints."""

from __future__ import annotations

import pytest

from tests.browser.screenshots import PAGES
from tests.browser.site import PHONE

pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")


@pytest.mark.parametrize("name", PAGES)
def test_a_page_has_no_serious_barrier(desktop, name):
    desktop.go(PAGES[name])
    desktop.page.wait_for_load_state("networkidle")
    desktop.page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    assert desktop.accessible() == []


@pytest.mark.parametrize("name", PAGES)
def test_a_page_has_no_serious_barrier_on_a_phone_and_fits_its_width(phone, name):
    phone.go(PAGES[name])
    phone.page.wait_for_load_state("networkidle")
    assert phone.page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert phone.accessible() == []


def test_the_sign_in_has_no_barrier_and_works_by_keyboard(chromium, site):
    from tests.browser.site import watched

    context = chromium.new_context()
    with watched(context, site) as seen:
        seen.go("/items/REF-500A")
        assert seen.accessible() == []
        seen.page.keyboard.type(site.token)  # the field has the focus
        seen.page.keyboard.press("Enter")
        seen.page.get_by_role("heading", name="Item REF-500A").wait_for()
        seen.page.get_by_role("button", name="Sign out").click()
        seen.page.get_by_role("heading", name="Sign in").wait_for()
    context.close()


@pytest.mark.parametrize("name", PAGES)
def test_the_first_step_with_the_keyboard_leads_to_the_content(desktop, name):
    desktop.go(PAGES[name])
    page = desktop.page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the content"
    assert page.evaluate("document.activeElement.getBoundingClientRect().left") >= 0
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"


@pytest.mark.parametrize("name", PAGES)
def test_whatever_has_the_focus_shows_it(desktop, name):
    desktop.go(PAGES[name])
    page = desktop.page
    for _ in range(12):
        page.keyboard.press("Tab")
        seen = page.evaluate(
            "(() => { const s = getComputedStyle(document.activeElement);"
            " return [document.activeElement.tagName, s.outlineStyle, s.outlineWidth]; })()"
        )
        assert seen[0] == "BODY" or (seen[1] == "solid" and seen[2] == "3px"), seen


@pytest.mark.parametrize("name", ["recall-chosen", "certificate", "item"])
def test_a_page_prints_without_what_belongs_to_the_screen(desktop, name):
    desktop.go(PAGES[name])
    desktop.page.emulate_media(media="print")
    assert not desktop.page.get_by_role("button", name="Sign out").is_visible()
    assert desktop.page.get_by_role("heading", level=1).is_visible()
    assert len(desktop.page.pdf(format="A4")) > 10_000


def test_every_link_of_every_page_leads_somewhere(desktop):
    page, seen, dead = desktop.page, set(), []
    for address in PAGES.values():
        desktop.go(address)
        links = page.eval_on_selector_all("a[href]", "all => all.map(a => a.href.split('#')[0])")
        for link in links:
            kind = link.removeprefix(desktop.site.url).split("?")[0].rsplit("/", 1)[0]
            few = sum(one.startswith(kind) for one in seen) < 4
            if link not in seen and few:
                seen.add(link.removeprefix(desktop.site.url))
                status = page.request.get(link).status
                if status != 200:
                    dead.append(f"{link} on {address}: {status}")
    assert dead == []
    assert len(seen) > 20
