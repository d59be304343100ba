"""Group commit: what many threads want written at once goes into one transaction.

A durable commit waits for the disk; a hundred rows in one commit wait once. Choice: no thread of
its own. Whoever finds nobody committing takes everything that waits and commits it; the others
wait for the one ahead, and usually find their own already done.

If a transaction fails, each of its parts is tried by itself, so that one that cannot be written
harms no other and each gets its own error.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Generic, TypeVar

Part = TypeVar("Part")
Result = TypeVar("Result")


@dataclass(slots=True, eq=False)
class _Ticket(Generic[Part, Result]):
    part: Part
    # Held until the part is written, or until its thread is to lead.
    gate: threading.Lock = field(default_factory=threading.Lock)
    results: list[Result] = field(default_factory=list)
    error: BaseException | None = None

    @property
    def done(self) -> bool:
        return bool(self.results) or self.error is not None


class GroupCommit(Generic[Part, Result]):
    """Commits parts together; ``commit`` writes several in one transaction, all or nothing.

    ``commit`` returns one result for each part, in their order.
    """

    def __init__(self, commit: Callable[[Sequence[Part]], Sequence[Result]]) -> None:
        self._commit = commit
        self._waiting: list[_Ticket[Part, Result]] = []
        self._led = False
        self._lock = threading.Lock()

    def add(self, part: Part) -> Result:
        """Write one part; returns its result once it is durable, raises if it is not."""
        ticket: _Ticket[Part, Result] = _Ticket(part)
        with self._lock:
            self._waiting.append(ticket)
            leads, self._led = not self._led, True
            if not leads:
                ticket.gate.acquire()
        # Each waits at a gate of its own: at a common one they would have to pass one by one.
        if not leads:
            ticket.gate.acquire()
        if not ticket.done:
            self._lead()
        if ticket.error is not None:
            raise ticket.error
        return ticket.results[0]

    def _lead(self) -> None:
        with self._lock:
            taken, self._waiting = self._waiting, []
        try:
            self._write(taken)
        finally:
            with self._lock:
                following = self._waiting[:1]
                self._led = bool(following)
            # The first that waits leads next; all that were written may go.
            for ticket in (*following, *taken):
                if ticket.gate.locked():
                    ticket.gate.release()

    def _write(self, taken: Sequence[_Ticket[Part, Result]]) -> None:
        try:
            results = self._commit([ticket.part for ticket in taken])
        except Exception as error:
            if len(taken) == 1:
                taken[0].error = error
                return
            for ticket in taken:
                self._write([ticket])
            return
        except BaseException as error:
            # The process is to end; nobody must go on waiting for a result.
            for ticket in taken:
                ticket.error = error
            return
        for ticket, result in zip(taken, results, strict=True):
            ticket.results.append(result)
