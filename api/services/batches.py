"""A table of results comes in and goes out again with its verdicts; bad rows say what is wrong.

Choice: the one place that knows pandas. Cells are read as text and stay text, so that an id keeps
its leading zeros and a number its digits; `api.services.batch_columns` decides. Nothing here needs
a database: `tracehold evaluate` works with the built-in rules and with rule objects from a file,
and a large file can be decided piece by piece with `decide_table`.

In CSV that goes out, text that a spreadsheet would run as a formula gets an apostrophe in front,
unless it is asked for raw. Not checked: what the columns that are only passed through mean.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from difflib import get_close_matches
from typing import Any

import pandas as pd

from api.errors import Conflict, InvalidRecord, Issue, pointer
from api.rules.decide import VERDICTS
from api.rules.kernel import GLOBAL_RISKS, POSTERIOR
from api.rules.rule import BUILT_IN, Rule, rule_from_mapping
from api.services.batch_columns import INPUTS, decide_texts, is_number

TEXTS = ("verdict", "acceptance_lower", "acceptance_upper")
RISKS = ("conformance_probability", "specific_risk", *GLOBAL_RISKS, *POSTERIOR)
ERRORS = ("error_field", "error")
OUTPUTS = (*TEXTS, *RISKS, *ERRORS)
KNOWN = ("id", *INPUTS)

Refused = Mapping[int, tuple[str, str]]
_FORMULA = frozenset("=+-@\t\r")


def decide_table(
    frame: pd.DataFrame,
    rules: Mapping[str, Rule] = BUILT_IN,
    default_rule: Rule | None = None,
    refused: Refused | None = None,
) -> pd.DataFrame:
    """Decide every row of a table of text and return it with the answers behind its columns.

    Columns that decide are `value, U, k, dof, unit, lower, upper, nominal, tolerance, rule,
    prior_mean, prior_sd`; others are passed through. Added are `verdict, acceptance_lower,
    acceptance_upper` (text), `conformance_probability, specific_risk` (float, NaN where they do
    not exist), with priors the global risks and the posterior, and `error_field, error` (text).
    `refused` holds rows known to be wrong, by position: the column and the reason.

    Raises InvalidRecord for columns that stand twice, look like a misspelt one, or would be
    overwritten by an answer.
    """
    check_columns([str(name) for name in frame.columns])
    texts = {name: frame[name].fillna("").tolist() for name in INPUTS if name in frame.columns}
    found = decide_texts(texts, len(frame), rules, default_rule, refused)
    added: dict[str, Any] = {name: getattr(found, name) for name in TEXTS}
    given = found.risks
    for name in RISKS[:2] + tuple(name for name in RISKS[2:] if name in given):
        added[name] = given.get(name, [float("nan")] * len(frame))
    for place, name in enumerate(ERRORS):
        added[name] = [
            found.errors[row][place] if row in found.errors else "" for row in range(len(frame))
        ]
    text = pd.DataFrame(
        {name: pd.Series(column, dtype=_dtype(name)) for name, column in added.items()}
    )
    text.index = frame.index
    return pd.concat([frame, text], axis=1)


def summary(decided: pd.DataFrame) -> dict[str, Any]:
    """Count the rows of a decided table: all, decided, refused, and by verdict."""
    counted = decided["verdict"].value_counts().to_dict()
    by_verdict = {verdict: int(counted.get(verdict, 0)) for verdict in VERDICTS}
    number = sum(by_verdict.values())
    rows = len(decided)
    return {"rows": rows, "decided": number, "refused": rows - number, "by_verdict": by_verdict}


def rules_from(documents: Iterable[Mapping[str, Any]]) -> dict[str, Rule]:
    """Return the built-in rules and those of a file, by id.

    Raises RuleError for an object that is no rule, Conflict for an id that is taken.
    """
    rules = dict(BUILT_IN)
    for document in documents:
        rule = rule_from_mapping(document)
        if rule.id in rules:
            raise Conflict(f'the rule "{rule.id}" is built in or stands twice in the file')
        rules[rule.id] = rule
    return rules


def check_columns(names: Sequence[str]) -> None:
    """Refuse headings that stand twice, that an answer would overwrite, or that look misspelt.

    A misspelt limit would otherwise be passed through, and the row decided without it.
    """
    issues = []
    for place, name in enumerate(names):
        near = get_close_matches(name.strip().lower(), _SPELLINGS, 1, 0.8)
        if name in names[:place]:
            issues.append(Issue("", f"the column {name!r} stands twice", "rename one", name))
        elif name in OUTPUTS:
            issue = Issue("", f"the column {name!r} is an answer", "rename or remove it", name)
            issues.append(issue)
        elif name not in KNOWN and near:
            remedy = f"write {_SPELLINGS[near[0]]}, or rename it if it is something else"
            issues.append(Issue("", f"the column {name!r} looks misspelt", remedy, name))
    if issues:
        raise InvalidRecord(f"The columns cannot be used: {issues[0].detail}.", issues)


_SPELLINGS = {name.lower(): name for name in KNOWN}


def read_csv(data: bytes) -> tuple[pd.DataFrame, dict[int, tuple[str, str]]]:
    """Return a table of text from CSV (RFC 4180, UTF-8), and the rows of a wrong length.

    Raises InvalidRecord for what is not UTF-8, has no heading or an open quotation mark.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise _unreadable(f"not UTF-8 at byte {error.start}", "save it as UTF-8") from None
    if "\0" in text:
        raise _unreadable("it holds a NUL character", "save it as CSV")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    refused: dict[int, tuple[str, str]] = {}
    if '"' in text or len({line.count(",") for line in text.split("\n") if line}) != 1:
        text, refused = _evened(text)
    # The heading is read as a row: pandas would rename a column that stands twice.
    frame = pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False, header=None)
    heading = [str(name).strip() for name in frame.iloc[0]]
    table = frame.iloc[1:].reset_index(drop=True)
    table.columns = pd.Index(heading)
    return table, refused


def _evened(text: str) -> tuple[str, dict[int, tuple[str, str]]]:
    """Return CSV whose rows are all as long as the heading, and the rows that were not."""
    try:
        rows = [row for row in csv.reader(io.StringIO(text), strict=True) if row]
    except csv.Error as error:
        raise _unreadable(str(error), "close every quotation mark") from None
    if not rows:
        raise _unreadable("it is empty", "send a heading line and one line for each result")
    heading, *body = rows
    width = len(heading)
    refused = {
        place: (
            heading[min(len(row), width - 1)],
            f"the row has {len(row)} cells, the heading {width}",
        )
        for place, row in enumerate(body)
        if len(row) != width
    }
    written = io.StringIO()
    writer = csv.writer(written, quoting=csv.QUOTE_ALL, lineterminator="\n")
    writer.writerows((row + [""] * width)[:width] for row in rows)
    return written.getvalue(), refused


def write_csv(decided: pd.DataFrame, raw: bool = False) -> str:
    """Return a decided table as CSV; see the module for `raw`."""
    if not raw:
        texts = [name for name in decided.columns if name not in RISKS]
        decided = decided.assign(**{name: _neutral(decided[name].tolist()) for name in texts})
        decided.columns = pd.Index(_neutral(list(decided.columns)))
    written: str = decided.to_csv(index=False, lineterminator="\n")
    return written


def _neutral(cells: list[str]) -> list[str]:
    if _FORMULA.isdisjoint({cell[:1] for cell in cells}):
        return cells
    return [f"'{cell}" if cell[:1] in _FORMULA and not is_number(cell) else cell for cell in cells]


def read_rows(rows: Sequence[Any]) -> pd.DataFrame:
    """Return a table of text from JSON objects; what one object lacks is empty in its row.

    Raises InvalidRecord for a row that is no object.
    """
    odd = [place for place, row in enumerate(rows) if not isinstance(row, Mapping)]
    if odd:
        issues = [Issue(pointer("rows", place), "not a JSON object", "send {...}") for place in odd]
        raise InvalidRecord("A row is not a JSON object.", issues)
    names = list(dict.fromkeys(name for row in rows for name in row))
    cells = {name: [_cell(row.get(name)) for row in rows] for name in names}
    return pd.DataFrame(cells, index=range(len(rows)), columns=names, dtype=str)


def write_rows(
    decided: pd.DataFrame, rows: Sequence[Mapping[str, Any]] | None = None
) -> list[dict[str, Any]]:
    """Return a decided table as JSON objects, null where an answer does not exist.

    `rows` are the objects that came in; their values go out as they are.
    """
    answers = [name for name in OUTPUTS if name in decided.columns]
    given: Sequence[Mapping[Any, Any]] = (
        decided.drop(columns=answers).to_dict("records") if rows is None else rows
    )
    found = zip(*(decided[name].tolist() for name in answers), strict=True)
    return [
        {**row, **{n: None if v == "" or v != v else v for n, v in zip(answers, new, strict=True)}}
        for row, new in zip(given, found, strict=True)
    ]


def _cell(value: Any) -> str:
    if isinstance(value, str):
        return value
    if value is None:
        return ""
    if isinstance(value, Decimal):
        return format(value, "f")
    return json.dumps(value, ensure_ascii=False, default=str)


def _dtype(name: str) -> Any:
    return "float64" if name in RISKS else "str"


def _unreadable(why: str, remedy: str) -> InvalidRecord:
    return InvalidRecord(f"The CSV cannot be read: {why}.", [Issue("", why, remedy)])
