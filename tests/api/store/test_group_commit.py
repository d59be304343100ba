"""What comes at the same time is committed together, and each one gets its own result."""

from __future__ import annotations

import threading

import pytest

from api.store.group_commit import GroupCommit


def at_once(group, parts):
    """Add parts from a thread each; their results or errors, by part."""
    found = {}

    def work(part):
        try:
            found[part] = group.add(part)
        except ValueError as error:
            found[part] = error

    threads = [threading.Thread(target=work, args=(part,)) for part in parts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return found


def test_one_by_itself_is_committed_by_itself():
    sizes = []
    group = GroupCommit(lambda parts: sizes.append(len(parts)) or parts)
    assert [group.add(n) for n in (1, 2)] == [1, 2]
    assert sizes == [1, 1]


def test_those_that_wait_for_a_commit_go_into_the_next_one_together():
    sizes, go_on = [], threading.Event()

    def commit(parts):
        if not sizes:
            go_on.wait(10)
        sizes.append(len(parts))
        return [part * 2 for part in parts]

    group = GroupCommit(commit)
    first = threading.Thread(target=group.add, args=(0,))
    first.start()
    waiting = threading.Timer(0.2, go_on.set)
    waiting.start()
    found = at_once(group, range(1, 9))
    first.join()
    assert found == {n: 2 * n for n in range(1, 9)}
    assert sum(sizes) == 9
    assert len(sizes) < 9


def test_one_that_cannot_be_written_harms_no_other():
    written = []

    def commit(parts):
        if 3 in parts:
            raise ValueError("three")
        written.extend(parts)
        return parts

    found = at_once(GroupCommit(commit), range(5))
    assert isinstance(found[3], ValueError)
    assert {n: found[n] for n in (0, 1, 2, 4)} == {0: 0, 1: 1, 2: 2, 4: 4}
    assert sorted(written) == [0, 1, 2, 4]


def test_an_interruption_ends_only_the_one_that_was_interrupted():
    def commit(parts):
        raise KeyboardInterrupt

    group = GroupCommit(commit)
    with pytest.raises(KeyboardInterrupt):
        group.add(1)
