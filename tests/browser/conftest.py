"""One browser and one laboratory for the whole session; a test that changes it gets a copy.

What takes long is done once: the laboratory is imported once and copied as a file, one browser is
started, and whoever looks at a page carries the cookie of a session that was opened beforehand.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.browser import site as sites

HERE = Path(__file__).parent


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark the tests of this folder, and skip them where there is no Chromium."""
    for item in items:
        if item.path.is_relative_to(HERE):
            item.add_marker("browser")
            if sites.CHROMIUM is None:
                item.add_marker(pytest.mark.skip(reason="Chromium is not installed"))


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """File of the database of the invented laboratory."""
    path = tmp_path_factory.mktemp("demo") / "demo.db"
    sites.build(path)
    return path


@pytest.fixture(scope="session")
def chromium():
    """Start the browser."""
    with sites.browser() as started:
        yield started


@pytest.fixture(scope="session")
def worked_on(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[sites.Site]:
    """Serve the laboratory with much done in its first recall, for looking at only."""
    path = tmp_path_factory.mktemp("worked") / "laboratory.db"
    shutil.copyfile(demo, path)
    sites.work_on(path)
    with sites.served(path) as served:
        yield served


@pytest.fixture(scope="session")
def onlooking(chromium, worked_on) -> Iterator[sites.Watched]:
    """A tab for looking at pages, kept for the session."""
    context = chromium.new_context(viewport=sites.DESKTOP)
    with sites.watched(context, worked_on) as found:
        found.is_signed_in()
        yield found
    context.close()


@pytest.fixture
def onlooker(onlooking: sites.Watched) -> Iterator[sites.Watched]:
    """Somebody at a desk who looks at pages and changes nothing."""
    onlooking.complaints.clear()
    yield onlooking
    assert onlooking.complaints == []


@pytest.fixture
def site(demo: Path, tmp_path: Path) -> Iterator[sites.Site]:
    """Serve a copy of the laboratory."""
    path = tmp_path / "laboratory.db"
    shutil.copyfile(demo, path)
    with sites.served(path) as served:
        yield served


def _seen(chromium, site, **options):
    context = chromium.new_context(viewport=sites.DESKTOP, **options)
    with sites.watched(context, site) as found:
        found.is_signed_in()
        yield found
    context.close()


@pytest.fixture
def desktop(chromium, site) -> Iterator[sites.Watched]:
    """Somebody signed in at a desk."""
    yield from _seen(chromium, site)


@pytest.fixture
def without_scripts(chromium, site) -> Iterator[sites.Watched]:
    """Somebody signed in with a browser that runs no scripts."""
    yield from _seen(chromium, site, java_script_enabled=False)
