"""What a transaction and a signed head cost when the record is empty, and when it is long.

    python benchmarks/long_record.py [--entries 300000]

Processor time of this process, the mean of many steps, on the disk of the temporary folder.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path
from typing import TYPE_CHECKING

from gaugelink.event_documents import to_document
from gaugelink.events import ReadingParked
from gaugelink.quantity import parse_length
from gaugelink.reading import Stamp
from gaugelink.record import SqliteStore, load_or_create_key

if TYPE_CHECKING:
    from collections.abc import Callable

UTC = "2026-01-02T08:00:00.000000Z"
SHOWN = parse_length("7.964 mm")
VALUE = to_document(ReadingParked(Stamp(UTC, 1, "", ""), "M1", SHOWN, b"", "nothing was asked for"))


def mean_ms(step: Callable[[], object], times: int) -> float:
    """Measure the processor time of one step."""
    before = time.process_time()
    for _ in range(times):
        step()
    return (time.process_time() - before) / times * 1e3


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--entries", type=int, default=300_000)
    args = parser.parse_args()
    print("| entries on record | a transaction with one value, and the root | a signed head |")
    print("|---|---|---|")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        key = load_or_create_key(folder / "key.pem")
        with SqliteStore.create(folder / "long.record", key=key) as store:
            for wanted in (0, args.entries // 2, args.entries):
                while store.size < wanted:
                    store.append([VALUE] * 1000)
                size = store.size
                value = mean_ms(lambda: (store.append([VALUE]), store.root()), 1000)
                head = mean_ms(lambda: store.publish_head(UTC), 150)
                print(f"| {size} | {value:.2f} ms | {head:.2f} ms |", flush=True)


if __name__ == "__main__":
    main()
