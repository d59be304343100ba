"""Did a restructuring change an answer? Write all answers before it and after, and compare.

    python -m tests.bench.same_answers write before.json
    python -m tests.bench.same_answers compare before.json after.json

`write` asks the application of the checkout it stands in and its command line, and keeps what they
answer: every operation of the OpenAPI document with success and with refusals, every page and form
as the laboratory and as a customer, every command with its help, messages and files, and a
thousand recalls of random laboratories. It says at its end what it could not get an answer of.
`compare` names each answer that differs, and how; exit code 1 if there is one.

What would differ from run to run is held still: the clock, random ids and tokens
(`answers_still`). What cannot be is masked by name: the durations and the facts of the process in
/metrics, the seconds and the free port that `tracehold demo` tells, the folder of the trial, when
a workbook was saved and its pieces zipped, and when the files beside the pages were checked out.
Not compared: the log, and answers to several callers at once.

It needs of the program only `api.app`, `api.settings`, the command line and the addresses, so that
the same files can be copied into an older or a newer checkout. SQLite; some four minutes
of one core.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

from tests.bench import answers_commands, answers_recalls
from tests.bench.answers_commands import Shell, new_database
from tests.bench.answers_kept import Book, differences, read
from tests.bench.answers_still import Clock

RECALLS = 1000
METHODS = ("get", "post", "patch", "put", "delete")
# Operations that take whatever is sent, or that anybody may use, cannot refuse.
NEVER_REFUSE = ("GET /healthz", "GET /readyz", "GET /metrics")


def write(file: Path, recalls: int, folder: Path) -> list[str]:
    """Ask for everything and write the answers; returns what was not answered as it should be."""
    clock, clock_file = Clock(folder / "clock"), folder / "clock"
    clock.begin()
    cases = answers_recalls.drawn(recalls, clock_file) if recalls else []
    book = Book(folder)
    _told(f"{len(cases)} laboratories drawn")
    for name in ("commands", "served"):
        (folder / name).mkdir()
    answers_commands.run_all(Shell(folder / "commands", clock, clock_file, book))
    _told(f"{len(book.answers)} answers of the command line")
    empty = Shell(folder / "served", clock, clock_file, book)
    key = new_database(empty, "empty.db", keep=False)
    clock.hold_all()
    missing = _served(book, clock, folder / "served", key, cases)
    facts = {
        "python": sys.version.split()[0],
        "answers": len(book.answers),
        "statuses": dict(Counter(str(one["status"]) for one in book.answers.values())),
        "masked": dict(book.masks),
        "missing": missing,
    }
    book.write(file, {"facts": facts})
    return missing


def _served(book: Book, clock: Clock, folder: Path, key: str, cases: list[bytes]) -> list[str]:
    """Ask the application itself."""
    from api.app import create_app
    from api.settings import Settings
    from tests.bench import answers_api, answers_pages, answers_refused
    from tests.bench.answers_trial import Trial

    def trial(name: str) -> Trial:
        (folder / name).write_bytes((folder / "empty.db").read_bytes())
        environment = {
            "TRACEHOLD_DATABASE_URL": f"sqlite:///{folder / name}",
            "TRACEHOLD_WEBHOOKS_TO_PRIVATE": "yes",
            "TRACEHOLD_FAILED_KEYS_PER_MINUTE": "0",
        }
        app = create_app(Settings.from_environment(environment))
        return Trial(app, clock, book, {"all": key})

    asked = trial("asked.db")
    document: dict[str, Any] = asked.json("/v1/openapi.json")
    answers_api.record(asked)
    answers_api.read(asked, document)
    answers_refused.refuse(asked, document)
    _told(f"{len(book.answers)} with the API")
    answers_pages.look(asked)
    _told(f"{len(book.answers)} with the pages")
    answers_refused.bend(asked)
    _told(f"{len(book.answers)} with bent requests")
    random = trial("random.db")
    answers_recalls.ask(random, cases, folder / "empty.db", folder / "random.db")
    _told(f"{len(book.answers)} with random recalls")
    return _missing(asked.seen, document) + [
        f"{name}: never answered" for name in answers_pages.unseen(asked)
    ]


def _missing(seen: dict[str, set[int]], document: dict[str, Any]) -> list[str]:
    """Operations of the document that never succeeded, or that never refused."""
    found = []
    for path, operations in document["paths"].items():
        for method in METHODS:
            if method not in operations:
                continue
            name = f"{method.upper()} {path}"
            statuses = seen.get(name, set())
            if not any(status < 300 for status in statuses):
                found.append(f"{name}: never succeeded")
            if name not in NEVER_REFUSE and not any(400 <= one < 500 for one in statuses):
                found.append(f"{name}: never refused")
    return found


def compare(before: Path, after: Path, most: int) -> int:
    """Print what differs between two files; returns how many answers do."""
    one, other = read(before), read(after)
    found = sorted(differences(one["answers"], other["answers"]))
    print(*found[:most], sep="\n")
    if len(found) > most:
        print(f"... and {len(found) - most} more (--most)")
    print(
        f"{len(one['answers'])} answers before, {len(other['answers'])} after; {len(found)} differ"
    )
    return len(found)


def _told(what: str) -> None:
    print(what, file=sys.stderr, flush=True)


def main() -> int:
    """Do what was asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    commands = parser.add_subparsers(dest="command", required=True)
    writing = commands.add_parser("write", help="ask for everything and write the answers")
    writing.add_argument("file", type=Path)
    writing.add_argument("--recalls", type=int, default=RECALLS, help="random recalls")
    comparing = commands.add_parser("compare", help="say which answers differ")
    comparing.add_argument("before", type=Path)
    comparing.add_argument("after", type=Path)
    comparing.add_argument("--most", type=int, default=50, help="differences that are printed")
    given = parser.parse_args()
    if given.command == "compare":
        return 1 if compare(given.before, given.after, given.most) else 0
    with tempfile.TemporaryDirectory(prefix="tracehold-answers-") as folder:
        missing = write(given.file.resolve(), given.recalls, Path(folder).resolve())
    print(*missing, sep="\n")
    print(f"written to {given.file}; {len(missing)} operation(s) or page(s) were not answered")
    return 1 if missing else 0


if __name__ == "__main__":
    sys.exit(main())
