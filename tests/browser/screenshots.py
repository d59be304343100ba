"""Pictures of the pages: ``python -m tests.browser.screenshots FOLDER`` for all of them.

``python -m tests.browser.screenshots README`` makes the two that the README shows, into
``fixtures/screenshots``.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.browser.site import DESKTOP, PHONE, Site, browser, build, served, watched, work_on

ROOT = Path(__file__).resolve().parents[2]
DECISION = "/decide?value=50.012&U=0.020&unit=kN&lower=49.95&upper=50.05&rule=guard_U"
CHOSEN = "/recalls/1?sort=changed&chosen=MV-25-0075&revision=0"
PAGES = {
    "start": "/",
    "search": "/?q=MV-25-007",
    "item": "/items/REF-500A",
    "part": "/items/PIN-22A",
    "fault-choose": "/recalls/new?q=25-03",
    "fault": "/recalls/new?item=REF-500A",
    "fault-certificate": "/recalls/new?certificate=MV-25-0052&revision=0",
    "fault-method": "/recalls/new?method=FP-02+edition+4",
    "recall": "/recalls/1",
    "recall-chosen": CHOSEN,
    "recall-types": "/recalls/2?list=indeterminate",
    "recall-again": "/recalls/3",
    "notices": "/recalls/1/notices",
    "notice-records": "/recalls/1/notices/1/records",
    "decide": DECISION,
    "certificate": "/certificates/MV-25-0075",
    "stops": "/stops",
    "customer": "/customers/1",
    "problem": "/items/NOSUCH",
    "nowhere": "/no/such/page",
}
SHOWN = {"recall": CHOSEN, "decision": DECISION}


def everything(site: Site, folder: Path) -> None:
    """Picture every page on a desktop and on a phone."""
    with browser() as chromium:
        for width, size in (("desktop", DESKTOP), ("phone", PHONE)):
            context = chromium.new_context(viewport=size)
            with watched(context, site) as seen:
                seen.go("/sign-in")
                seen.page.screenshot(path=folder / f"sign-in-{width}.png", full_page=True)
                seen.is_signed_in()
                for name, address in PAGES.items():
                    seen.go(address)
                    seen.page.wait_for_load_state("networkidle")
                    if name.startswith("fault") and name != "fault-choose":
                        seen.page.get_by_label("Error of the true force, %").fill("-0.07")
                        seen.page.get_by_text("Preview, nothing is stored").wait_for()
                    seen.page.screenshot(path=folder / f"{name}-{width}.png", full_page=True)
            context.close()


def for_the_readme(site: Site, folder: Path) -> None:
    """Picture the two pages that the README shows, each as the screen shows it first."""
    folder.mkdir(parents=True, exist_ok=True)
    with browser() as chromium:
        context = chromium.new_context(viewport={"width": 1120, "height": 1490})
        with watched(context, site) as seen:
            seen.is_signed_in()
            for name, address in SHOWN.items():
                seen.go(address)
                seen.page.wait_for_load_state("networkidle")
                if name == "decision":
                    seen.page.set_viewport_size({"width": 1120, "height": 860})
                path = folder / f"{name}.png"
                seen.page.screenshot(path=path)
                _pack(path)


def _pack(path: Path) -> None:
    """Keep few colours: the pages have few, and the files stay small."""
    from PIL import Image

    picture = Image.open(path).convert("RGB").quantize(112, dither=Image.Dither.NONE)
    picture.save(path, optimize=True)


def main() -> None:
    """Make what the command line asks for."""
    wanted = sys.argv[1]
    with tempfile.TemporaryDirectory() as temporary:
        path = Path(temporary) / "demo.db"
        build(path)
        if wanted != "README":
            work_on(path)
        with served(path) as site:
            if wanted == "README":
                for_the_readme(site, ROOT / "fixtures" / "screenshots")
            else:
                Path(wanted).mkdir(parents=True, exist_ok=True)
                everything(site, Path(wanted))


if __name__ == "__main__":
    main()
