"""Every page: usable by everybody, nothing from elsewhere, fits a phone, prints."""

from __future__ import annotations

import pytest

from tests.browser.screenshots import PAGES
from tests.browser.site import DESKTOP, PHONE, watched

pytest.importorskip("playwright.sync_api", reason="Playwright is not installed")
# Notes how everything looks that gets the focus from now on: one question instead of many.
NOTE_FOCUS = """
window.focused = [];
addEventListener("focusin", ({ target }) => {
  const { outlineStyle, outlineWidth } = getComputedStyle(target);
  window.focused.push([target.outerHTML.slice(0, 90), outlineStyle, outlineWidth]);
});
"""


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_usable_by_keyboard_has_no_serious_barrier_and_fits_a_phone(onlooker, name):
    page = onlooker.page
    page.set_viewport_size(DESKTOP)
    onlooker.go(PAGES[name])
    the_content_comes_first_and_what_has_the_focus_shows_it(page)
    page.evaluate("document.querySelectorAll('details').forEach(d => { d.open = true })")
    assert onlooker.accessible() == []
    page.set_viewport_size(PHONE)
    # What became too wide is made reachable by a script, once the page was drawn again.
    page.evaluate("new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert onlooker.accessible(again=True) == []


def the_content_comes_first_and_what_has_the_focus_shows_it(page) -> None:
    if name := page.evaluate("document.activeElement.id"):
        raise AssertionError(f"{name} has the focus from the start")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "Skip to the content"
    assert page.evaluate("document.activeElement.getBoundingClientRect().left") >= 0
    page.evaluate(NOTE_FOCUS)
    for _ in range(12):
        page.keyboard.press("Tab")
    seen = page.evaluate("window.focused")
    assert seen
    assert [one for one in seen if one[1:] != ["solid", "3px"]] == []
    page.evaluate("document.querySelector('.skip').focus()")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"


def test_the_sign_in_has_no_barrier_and_works_by_keyboard(chromium, worked_on):
    context = chromium.new_context()
    with watched(context, worked_on) as seen:
        seen.go("/items/REF-500A")
        assert seen.accessible() == []
        seen.page.keyboard.type(worked_on.token)  # the field has the focus
        seen.page.keyboard.press("Enter")
        seen.page.get_by_role("heading", name="Item REF-500A").wait_for()
        seen.page.get_by_role("button", name="Sign out").click()
        seen.page.get_by_role("heading", name="Sign in").wait_for()
    context.close()


@pytest.mark.parametrize("name", ["recall-chosen", "certificate", "item"])
def test_a_page_prints_without_what_belongs_to_the_screen(onlooker, name):
    onlooker.go(PAGES[name])
    onlooker.page.emulate_media(media="print")
    assert not onlooker.page.get_by_role("button", name="Sign out").is_visible()
    assert onlooker.page.get_by_role("heading", level=1).is_visible()
    printed = onlooker.page.pdf(format="A4")
    onlooker.page.emulate_media(media="screen")
    assert len(printed) > 10_000


def test_every_link_of_every_page_leads_somewhere(onlooker):
    page, seen, dead = onlooker.page, set(), []
    for address in PAGES.values():
        onlooker.go(address)
        links = page.eval_on_selector_all("a[href]", "all => all.map(a => a.href.split('#')[0])")
        for link in links:
            kind = link.removeprefix(onlooker.site.url).split("?")[0].rsplit("/", 1)[0]
            few = sum(one.startswith(kind) for one in seen) < 3
            if link not in seen and few and link != onlooker.site.url + address:
                seen.add(link.removeprefix(onlooker.site.url))
                status = page.request.get(link).status
                if status != 200:
                    dead.append(f"{link} on {address}: {status}")
    assert dead == []
    assert len(seen) > 20
