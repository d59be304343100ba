"""A browser, a served laboratory of its own for every test, and what is seen there."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.browser import site as sites


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark the tests of this folder, and skip them where there is no Chromium."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
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


@pytest.fixture
def site(demo: Path, tmp_path: Path) -> Iterator[sites.Site]:
    """Serve a copy of the laboratory."""
    path = tmp_path / "laboratory.db"
    shutil.copyfile(demo, path)
    with sites.served(path) as served:
        yield served


def _seen(chromium, site, **options):
    context = chromium.new_context(**options)
    with sites.watched(context, site) as found:
        found.sign_in()
        yield found
    context.close()


@pytest.fixture
def desktop(chromium, site) -> Iterator[sites.Watched]:
    """Somebody signed in at a desk."""
    yield from _seen(chromium, site, viewport=sites.DESKTOP)


@pytest.fixture
def phone(chromium, site) -> Iterator[sites.Watched]:
    """Somebody signed in on a phone."""
    yield from _seen(chromium, site, viewport=sites.PHONE)


@pytest.fixture
def without_scripts(chromium, site) -> Iterator[sites.Watched]:
    """Somebody signed in with a browser that runs no scripts."""
    yield from _seen(chromium, site, viewport=sites.DESKTOP, java_script_enabled=False)
