"""Whatever form a laboratory comes in, the rows and the recall are the same; garbage does no harm.

Random laboratories (tests/oracle) are written as one document, as shuffled lines, as lines of
several records, and as the CSV files of a spreadsheet.
"""

from __future__ import annotations

import io
import json
from copy import deepcopy
from random import Random
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from import_forms import COLLECTIONS, csv_answer, lines_of, rows_of
from laboratories import of_seed
from oracle_cases import cal, lab, ref
from sqlalchemy import func, select

from api.resources.csv_imports import _loaded as loaded_record
from api.resources.imports import _loaded as loaded_piece
from api.schemas.faults import RecallRequestSchema
from api.schemas.import_mappings import KINDS, ImportMappingSchema
from api.schemas.imports import LaboratorySchema
from api.services.imports.csv_files import CsvFile
from api.services.imports.csv_imports import CsvImport
from api.services.imports.csv_mapping import tables_of
from api.services.imports.csv_records import read_tables
from api.services.imports.imports import Contents, Document, import_source
from api.services.imports.lines import Lines, read_lines
from api.services.recalls.run import recall
from api.store.tables import Certificate, ImportRun, Item, Result, Usage
from api.web.json import loads
from fixtures.demo_lab.spreadsheet import spreadsheet

NOW_US = 1_893_456_000_000_000  # 2030-01-01, after everything that the laboratories did
CALM = [HealthCheck.function_scoped_fixture, HealthCheck.too_slow]


def outcome(database, fault, put) -> Any:
    """Rows, counts and recall after an import in a transaction that is rolled back."""
    with database.write() as session:
        counts = put(session)
        rows = rows_of(session)
        request = {"faults" if isinstance(fault, list) else "fault": fault}
        answer = recall(session, RecallRequestSchema().load(request), NOW_US)
        session.rollback()
    return counts, rows, answer.result_hash


def sha256(source) -> str:
    contents = Contents(source.heading)
    for name in COLLECTIONS:
        for lot in source.lots(name):
            contents.add(name, lot)
    return contents.sha256()


def pieces_of(laboratory, dice) -> bytes:
    """Lines that hold several records each, of one collection or of two."""
    lines = [{name: one for name, one in laboratory.items() if name not in COLLECTIONS}]
    for name in COLLECTIONS:
        left = list(laboratory[name])
        dice.shuffle(left)
        while left:
            size = dice.randint(1, 5)
            lines.append({name: left[:size]})
            left = left[size:]
    dice.shuffle(lines)
    return "\n".join(map(json.dumps, lines)).encode()


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(8))
def test_document_lines_and_spreadsheet_give_the_same_rows_and_recall(database, seed):
    laboratory, fault = of_seed(seed)
    dice = Random(seed)
    document = Document(LaboratorySchema().load(deepcopy(laboratory)))
    expected = outcome(database, fault, lambda s: import_source(s, document, NOW_US))
    hash_ = sha256(document)
    for text in (lines_of(laboratory, dice.shuffle), pieces_of(laboratory, dice)):
        with Lines() as lines:
            read_lines(io.BytesIO(text), lines, loads, loaded_piece)
            assert sha256(lines) == hash_
            assert (
                outcome(database, fault, lambda s, x=lines: import_source(s, x, NOW_US)) == expected
            )

    texts = spreadsheet(laboratory)
    mapping = ImportMappingSchema().load(loads(texts.pop("mapping.json")))
    files = {name: CsvFile(name, io.BytesIO(text.encode())) for name, text in texts.items()}
    tables = tables_of(mapping, files, KINDS)
    done = CsvImport(mapping, tables, read_tables(tables))
    done.load(loaded_record)

    def put(session):
        assert done.attempt(session, NOW_US)
        assert done.records.refusals == []
        return done.counts

    assert outcome(database, fault, put) == expected
    assert sha256(done) == hash_


SMALL = lab(
    cal("W-1", "WS", "01-10", [ref("REF")]),
    cal("C-1", "A", "02-01", [ref("WS", "0.5"), ref("REF", "0.5")]),
    composition=[{"assembly": "A", "part": "WS", "from": "2025-01-01"}],
    checks=[{"id": "K", "item": "WS", "at": "2025-01-15", "result": "pass"}],
    time_zone="Europe/Vienna",
)
LINES = lines_of(SMALL)
SHEETS = spreadsheet(SMALL)
SHEET_MAPPING = json.loads(SHEETS.pop("mapping.json"))
TABLES = (Item, Certificate, Usage, Result, ImportRun)
REFUSED = (400, 409, 413, 422)


def counts_of(database):
    with database.read() as session:
        return [session.scalar(select(func.count()).select_from(table)) for table in TABLES]


@st.composite
def spoiled(draw, whole: bytes) -> bytes:
    """A text cut, doubled or with bytes put into it; now and then nothing like it."""
    if draw(st.integers(0, 9)) == 0:
        return draw(st.binary(max_size=300))
    at, to = sorted(draw(st.tuples(*[st.integers(0, len(whole))] * 2)))
    put = st.one_of(
        st.binary(max_size=6),
        st.sampled_from(
            [b"", b'"', b"\n", b";", b",", b"{", b"}", b"\0", b"\xff", b"-0", b"1e999"]
        ),
        st.just(whole[at:to]),
    )
    return whole[:at] + draw(put) + whole[draw(st.sampled_from([at, to])) :]


@st.composite
def twisted(draw, value: Any) -> Any:
    """A JSON value with one place in it put out of shape."""
    if isinstance(value, dict) and value and draw(st.integers(0, 9)):
        key = draw(st.sampled_from(sorted(value)))
        made = dict(value)
        new = draw(st.one_of(st.just(key), st.text(max_size=8)))
        made[new] = draw(twisted(made.pop(key)))
        return made
    if isinstance(value, list) and value and draw(st.integers(0, 9)):
        at = draw(st.integers(0, len(value) - 1))
        return [*value[:at], draw(twisted(value[at])), *value[at + 1 :]]
    scalars = st.one_of(
        st.none(), st.booleans(), st.integers(), st.text(max_size=10), st.just("%d.%m.%Y")
    )
    return draw(st.recursive(scalars, lambda s: st.lists(s, max_size=3), max_leaves=4))


def settled(answer, database, before, headline: str) -> None:
    """No 500, a problem for what is refused, and nothing half-written."""
    assert answer.status_code in (201, *REFUSED), (headline, answer.text)
    after = counts_of(database)
    if answer.status_code == 201:
        assert after[-1] == before[-1] + 1
        created = answer.get_json()["created"]
        assert after[0] == before[0] + created["items"]
        assert after[1] == before[1] + created["calibrations"]
    else:
        assert answer.mimetype == "application/problem+json"
        assert answer.get_json()["detail"]
        assert after == before


@pytest.mark.slow
@settings(max_examples=40, deadline=None, suppress_health_check=CALM)
@given(text=spoiled(LINES))
def test_spoiled_lines_never_fail_the_server_and_never_write_half(client, database, text):
    before = counts_of(database)
    answer = client.post("/v1/imports", data=text, content_type="application/x-ndjson")
    settled(answer, database, before, repr(text))


@pytest.mark.slow
@settings(max_examples=40, deadline=None, suppress_health_check=CALM)
@given(
    name=st.sampled_from(sorted(SHEETS)),
    data=st.data(),
    skip=st.sampled_from(["", "?refused=skip"]),
)
def test_spoiled_files_never_fail_the_server_and_never_write_half(
    client, database, name, data, skip
):
    before = counts_of(database)
    file = data.draw(spoiled(SHEETS[name].encode()))
    answer = csv_answer(client, SHEETS | {name: file}, SHEET_MAPPING, skip)
    settled(answer, database, before, repr(file))


@pytest.mark.slow
@settings(max_examples=60, deadline=None, suppress_health_check=CALM)
@given(mapping=twisted(SHEET_MAPPING), skip=st.sampled_from(["", "?refused=skip"]))
def test_a_twisted_mapping_never_fails_the_server_and_never_writes_half(
    client, database, mapping, skip
):
    before = counts_of(database)
    sent = json.dumps(mapping, ensure_ascii=True).encode()
    answer = csv_answer(client, SHEETS, sent, skip)
    settled(answer, database, before, json.dumps(mapping))
