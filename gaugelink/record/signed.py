"""Read a record to judge by it: only as it was signed.

Whoever tells something from a record reads it here. A record in which an entry was altered, taken
out or added by somebody without the key tells nothing. The last seal is over all entries, so one
signature vouches for each of them, however many there are.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from gaugelink.errors import RecordError
from gaugelink.record import opening
from gaugelink.record.heads import heads_path, read_heads
from gaugelink.record.sqlite import SqliteStore
from gaugelink.record.sqlitefile import faults_in_words

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from gaugelink.record.store import Entry
    from gaugelink.record.tree import Frontier


def read_signed(path: Path) -> list[Entry]:
    """Read all entries of a record after holding them against its seals and heads.

    Nothing is changed, and another program may be writing meanwhile: the entries that were there
    at one moment are given.

    Raises:
        RecordError: no such file, not a record, or it does not fit what was signed; the sentence
            names file and entry.
    """
    with SqliteStore.read(path) as store, faults_in_words(store.path):
        # In this order: what a writer adds meanwhile is never beyond what is read after it.
        heads = dict.fromkeys((*read_heads(heads_path(store.path))[0], *store.heads()))
        sealed = max((size for size, _ in store.seals()), default=0)
        entries = list(store.entries())
        if sealed > len(entries):
            what = f"the record was cut off: found {len(entries)} entries, but a seal over {sealed}"
            raise RecordError(f"{what}; {opening.VERIFY}")
        seals = [seal for seal in store.seals() if seal[0] <= len(entries)]
        leaves = [entry.leaf for entry in entries]
        frontier, roots = opening.rebuild(leaves, (head.size for head in heads))
        _check_seals(frontier, leaves, seals, store)
        for head in heads:
            opening.check_head(head, key=store.key, log=store.log, size=frontier.size, roots=roots)
    return entries


def _check_seals(
    frontier: Frontier,
    leaves: Sequence[bytes],
    seals: Sequence[tuple[int, object]],
    store: SqliteStore,
) -> None:
    last = seals[-1] if seals else None
    if last is None or last[0] != frontier.size:
        opening.check_last_seal(frontier, last, key=store.key, log=store.log)
    elif not opening.seal_fits(last, frontier.root(), key=store.key, log=store.log):
        step = opening.changed_step(leaves, seals, key=store.key, log=store.log)
        which = f"entry {step[0]} does" if len(step) == 1 else f"entries {step[0]} to {step[-1]} do"
        what = f"{which} not fit the seal made when written, so the record was changed"
        raise RecordError(f"{what}; {opening.VERIFY}")
