"""A table of results comes in and goes out again with its verdicts, however long it is.

Choice: pieces of some ten thousand rows are read, decided by a few threads at once, and written in
their order; no more of them are in memory than that takes. Cells that came as text stay text, so
that an id keeps its leading zeros and a number its digits. A row that cannot be decided comes back
with its line, column and reason.

Nothing here needs a database: `tracehold evaluate` works with the built-in rules and with rule
objects from a file. Not checked: what columns mean that are only passed through.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from api.errors import Conflict
from api.rules.decide import VERDICTS
from api.rules.rule import BUILT_IN, Rule, RuleError, refuse_unreachable, rule_from_mapping
from api.services.batches.columns import Answers, decide_frame
from api.services.batches.derived import Specify, no_specifications
from api.services.batches.formats import Writer
from api.services.batches.masks import Explain
from api.services.batches.pieces import BRANCH, ERROR_FILE, ERRORS, RISKS, TEXTS, Piece
from api.spans import span

# More would need more memory, and the columnar library has threads of its own.
_THREADS = 2
# Pieces decided or waiting for it: enough that no thread waits while one is read or written.
_ON_THE_WAY = 4


@dataclass(frozen=True, slots=True)
class Deciding:
    """How rows are decided: by the row schema, the rules they may name, that of the others.

    `specify` gives the limits of the specifications that they may name.
    """

    explain: Explain
    rules: Mapping[str, Rule]
    default_rule: Rule | None = None
    specify: Specify = no_specifications


class Batch:
    """A batch on its way. Iterate over it, once, for the bytes of the answer.

    `counts` are the rows by verdict so far, those without one first; `seen` is told how many there
    are after each piece.

    Raises InvalidRecord, where it gets to it, for what cannot be read.
    """

    def __init__(
        self,
        pieces: Iterable[Piece],
        deciding: Deciding,
        writer: Writer,
        seen: Callable[[int], None] = lambda rows: None,
    ) -> None:
        self._pieces, self._deciding, self._writer, self._seen = pieces, deciding, writer, seen
        self.counts: NDArray[np.int64] = np.zeros(1 + len(VERDICTS), dtype=np.int64)

    def __iter__(self) -> Iterator[bytes]:
        """Yield the answer in parts."""
        with span("batch", current=False):
            yield from self._parts()
        yield self._writer.finish(self.summary())

    def _parts(self) -> Iterator[bytes]:
        waiting: deque[Future[tuple[Any, NDArray[np.int64]]]] = deque()
        with ThreadPoolExecutor(_THREADS) as pool:
            try:
                for piece in self._pieces:
                    waiting.append(pool.submit(self._decided, piece))
                    if len(waiting) >= _ON_THE_WAY:
                        yield self._written(waiting.popleft())
                while waiting:
                    yield self._written(waiting.popleft())
            finally:
                # Whoever stops listening waits for nothing.
                pool.shutdown(cancel_futures=True)

    def summary(self) -> dict[str, Any]:
        """Count the rows: all, decided, refused, and by verdict."""
        refused, *verdicts = self.counts.tolist()
        return {
            "rows": refused + sum(verdicts),
            "decided": sum(verdicts),
            "refused": refused,
            "by_verdict": dict(zip(VERDICTS, verdicts, strict=True)),
        }

    def _decided(self, piece: Piece) -> tuple[Any, NDArray[np.int64]]:
        how = self._deciding
        found = decide_frame(
            piece.frame, how.rules, how.default_rule, how.explain, piece.refused, how.specify
        )
        prepared = self._writer.prepare(piece, answers_frame(found, piece.lines, piece.file))
        return prepared, np.bincount(found.codes + 1, minlength=len(self.counts))

    def _written(self, decided: Future[tuple[Any, NDArray[np.int64]]]) -> bytes:
        prepared, counts = decided.result()
        self.counts += counts
        part = self._writer.write(prepared)
        self._seen(int(self.counts.sum()))
        return part


def answers_frame(found: Answers, lines: Sequence[int], file: str | None = None) -> pl.DataFrame:
    """Return the columns that a row gets: verdict, acceptance limits, risks, branch, error.

    `lines` are the numbers of the rows; those in error carry theirs, and that of their file if
    there are several.
    """
    size = len(found.codes)
    columns = dict(zip(TEXTS, (found.verdicts(), *found.limits.values()), strict=True))
    columns |= {
        name: pl.Series(found.risks[name]).fill_nan(None) for name in RISKS if name in found.risks
    }
    if found.branch is not None:
        number, reason = BRANCH
        columns[number] = pl.Series(found.branch.numbers, dtype=pl.Int64).replace(0, None)
        columns[reason] = found.branch.reasons
    kinds = (pl.Int64, pl.String, pl.String)
    for name, kind in zip(ERRORS, kinds, strict=True):
        columns[name] = pl.Series([None], dtype=kind).new_from_index(0, size)
    if found.errors:
        rows = sorted(found.errors)
        fields, messages = zip(*(found.errors[row] for row in rows), strict=True)
        faults: tuple[list[Any], ...] = (
            [lines[row] for row in rows],
            [field or None for field in fields],
            [*messages],
        )
        for name, kind, values in zip(ERRORS, kinds, faults, strict=True):
            columns[name] = columns[name].scatter(rows, pl.Series(values, dtype=kind))
    answers = pl.DataFrame(columns)
    if file is None:
        return answers
    where = pl.when(pl.col("error").is_not_null()).then(pl.lit(file)).alias(ERROR_FILE)
    return answers.select(*TEXTS, *answers.columns[len(TEXTS) : -len(ERRORS)], where, *ERRORS)


def rules_from(documents: Iterable[Mapping[str, Any]]) -> dict[str, Rule]:
    """Return the built-in rules and those of a file, by id; they may fall back on one another.

    Raises RuleError for an object that is no rule, Conflict for an id that is taken.
    """
    waiting: dict[str, Mapping[str, Any]] = {}
    for document in documents:
        code = document.get("id", "inline") if isinstance(document, Mapping) else "inline"
        if code in BUILT_IN or code in waiting:
            raise Conflict(f'the rule "{code}" is built in or stands twice in the file')
        waiting[code] = document
    rules, reading = dict(BUILT_IN), set[str]()

    def find(code: str, version: int | None) -> Rule | None:
        if code in reading:
            raise RuleError("/otherwise", f"rule {code!r} comes back to itself; name another rule")
        if code not in rules and code in waiting:
            reading.add(code)
            rules[code] = rule_from_mapping(waiting[code], find)
            refuse_unreachable(rules[code])
            reading.remove(code)
        rule = rules.get(code)
        return rule if rule is not None and version in (None, rule.version) else None

    for code in waiting:
        find(code, None)
    return {**BUILT_IN, **{code: rules[code] for code in waiting}}
