"""Spans cost nothing until somebody traces, and then say what was done within what."""

from __future__ import annotations

import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import pytest

from api import spans
from api.spans import span, spanned


@pytest.fixture
def told():
    """Install an opener that notes what it is asked for."""
    notes = []

    @contextmanager
    def opened(name, *, current=True):
        notes.append(("begin", name, current))
        yield
        notes.append(("end", name, current))

    spans.install(opened)
    yield notes
    spans.install(None)


@spanned("sum")
def added(first, second=0):
    """Sum of two numbers."""
    return first + second


def test_without_an_opener_a_span_is_one_object_that_does_nothing():
    assert span("a") is span("b")
    with span("a"):
        assert added(1, second=2) == 3


def test_with_one_a_span_begins_and_ends_with_its_work(told):
    with span("outer"), span("inner", current=False):
        told.append("work")
    assert told == [
        *(("begin", "outer", True), ("begin", "inner", False), "work"),
        *(("end", "inner", False), ("end", "outer", True)),
    ]


def test_a_spanned_function_keeps_its_name_and_its_answer(told):
    assert added(1, second=2) == 3
    assert (added.__name__, added.__doc__) == ("added", "Sum of two numbers.")
    assert told == [("begin", "sum", True), ("end", "sum", True)]


def test_a_server_that_is_not_traced_imports_no_tracing_library():
    code = (
        "import sys, os; os.environ.pop('OTEL_TRACES_EXPORTER', None); import api.serving; "
        "from api.settings import Settings; from api.store.database import Database; "
        "api.serving.made(Settings(), Database('sqlite://')); "
        "sys.exit(any(name.startswith('opentelemetry') for name in sys.modules))"
    )
    root = Path(__file__).parents[2]
    assert subprocess.run([sys.executable, "-c", code], cwd=root, check=False).returncode == 0
