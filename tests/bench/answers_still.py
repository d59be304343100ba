"""What differs from run to run, held still: the clock, random ids and tokens; the rest is masked.

    python -m tests.bench.answers_still CLOCK ARGUMENT ...

runs the command line with the clock of a file CLOCK. The clock is the file's time of last change:
it stands until a driver moves it, in every process that looks at it. What is drawn at an instant
depends on the instant and on how many draws of that length came before it, and on nothing else: a
program that draws more at its start still draws the same in each answer.

Waiting goes by the real clock (`time.monotonic`) where processes wait for each other. Within the
application under trial, of which nobody asks two things at once, it goes by the held one: for how
long keys are remembered shows in the journal.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import secrets
import sys
import time
import uuid
import zipfile
from collections import Counter
from pathlib import Path
from typing import Any

# 2026-06-01T09:00:00Z: after everything that the laboratories did, before whatever is still due.
BEGIN_NS = 1_780_304_400 * 10**9
SECOND_NS = 10**9

# What is left to differ after that; each is replaced by its name in angle brackets.
MASKS = {
    # `tracehold demo` tells how long each answer took, and on which free port it serves.
    "seconds": re.compile(rb"(?<=Answered in )\d+\.\d\d(?= s\.)"),
    "port": re.compile(rb"(?<=http://127\.0\.0\.1:)\d{4,5}(?!\d)"),
    # /metrics: how long requests took, and what the process is like.
    "duration": re.compile(rb"(?m)^(tracehold_request_duration_seconds_(?:bucket|sum)\{.*\}) \S+$"),
    "process": re.compile(rb"(?m)^(process_\w+) \S+$"),
    # A workbook: when its library saved it, which is not when the program says it was made.
    "saved": re.compile(rb'(?<=<dcterms:modified xsi:type="dcterms:W3CDTF">)[^<]+'),
}


# The headers of files beside the pages: when and where they were checked out.
FILE_TIME = re.compile(r'(?<=^ETag: ")\d+\.\d+-\d+-\d+(?="$)|(?<=^Last-Modified: ).*')
ZIP = b"PK\x03\x04"


class Clock:
    """The instant that every process takes for now, and what is drawn by chance at it."""

    def __init__(self, file: Path) -> None:
        self._file = file
        self._instant = 0
        self._drawn: Counter[int] = Counter()

    def begin(self) -> None:
        """Set it to its beginning."""
        self._file.touch()
        os.utime(self._file, ns=(BEGIN_NS, BEGIN_NS))

    def move(self) -> None:
        """Move it on by one second."""
        later = self.now_ns() + SECOND_NS
        os.utime(self._file, ns=(later, later))

    def now_ns(self) -> int:
        """The instant, in nanoseconds since 1970."""
        return os.stat(self._file).st_mtime_ns

    def bytes(self, count: int | None = None) -> bytes:
        """So many bytes that nobody could guess, if this were not a trial."""
        now, count = self.now_ns(), 32 if count is None else count
        if now != self._instant:
            self._instant, self._drawn = now, Counter()
        self._drawn[count] += 1
        return hashlib.shake_256(f"{now} {count} {self._drawn[count]}".encode()).digest(count)

    def hold(self) -> None:
        """Make this process take its time and its chance from here; before it imports `api`."""
        if "api.app" in sys.modules or "api.cli" in sys.modules:
            raise RuntimeError("the program was imported before its clock was held")
        replaced: dict[Any, dict[str, Any]] = {
            time: {"time_ns": self.now_ns, "time": lambda: self.now_ns() / 1e9},
            secrets: {"token_bytes": self.bytes},
            uuid: {"uuid4": lambda: uuid.UUID(bytes=self.bytes(16), version=4)},
        }
        for module, functions in replaced.items():
            for name, function in functions.items():
                setattr(module, name, function)

    def hold_all(self) -> None:
        """Hold also the clock by which waiting goes."""
        self.hold()
        time.monotonic = lambda: self.now_ns() / 1e9


def masked(body: bytes, folder: Path) -> tuple[bytes, Counter[str]]:
    """A body without what cannot be held still, and how often each mask was put.

    `folder` is where the trial keeps its files; its name is a mask too.
    """
    put: Counter[str] = Counter()
    if body.startswith(ZIP):
        body, put["zipped"] = _unzipped(body), 1
    put["folder"] = body.count(str(folder).encode())
    body = body.replace(str(folder).encode(), b"<folder>")
    for name, pattern in MASKS.items():
        shown = rb"\1 <%s>" if pattern.groups else b"<%s>"
        body, put[name] = pattern.subn(shown % name.encode(), body)
    return body, +put


def _unzipped(body: bytes) -> bytes:
    """What is in a workbook, file by file; the archive tells when its pieces were written."""
    with zipfile.ZipFile(io.BytesIO(body)) as archive:
        parts = [name.encode() + b"\n" + archive.read(name) for name in archive.namelist()]
    return b"\n".join(parts)


def environment(clock: Path, **more: str) -> dict[str, str]:
    """Environment of a command: nothing of the caller's but where Python finds things."""
    kept = {name: os.environ[name] for name in ("PATH", "PYTHONHASHSEED") if name in os.environ}
    fixed = {
        "PYTHONPATH": str(Path(__file__).resolve().parents[2]),
        "LANG": "C.UTF-8",
        "TZ": "UTC",
        "COLUMNS": "120",
        "NO_COLOR": "1",
        "LOGNAME": "tester",
        "HOME": str(clock.parent),
        "SOURCE_DATE_EPOCH": str(BEGIN_NS // SECOND_NS),
    }
    return kept | fixed | more


def main() -> None:
    """Run the command line as it is, with a clock that stands."""
    Clock(Path(sys.argv[1])).hold()
    from api.cli import main as tracehold

    tracehold(sys.argv[2:], prog_name="tracehold")


if __name__ == "__main__":
    main()
