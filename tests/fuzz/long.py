"""Many more mutants than the suite has time for.

    python tests/fuzz/long.py --files 100000 --scenarios 100000 --workers 2 --seed 1

What did not end as it must is written to ``--out``: the bytes, and what was wrong beside them. A
worker that dies or hangs is replaced, and its case is written too. Ends with 1 when any failed.
"""

from __future__ import annotations

import argparse
import ctypes
import multiprocessing
import os
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

AT_ONCE = 250
HANGS_AFTER_S = 60.0


def work(kind: str, seed: int, first: int, stop: int, at, found) -> None:
    """The cases of one worker; ``at`` is the case it is at, for the one who watches."""
    import mutants

    sys.stderr = open(os.devnull, "w")  # noqa: SIM115

    def started(number: int) -> None:
        at[0], at[1] = number, int(time.monotonic())

    with tempfile.TemporaryDirectory() as folder:
        numbers = range(first, stop)
        for number, told in mutants.failures(kind, seed, numbers, Path(folder), started):
            found.put((kind, number, told))


class Worker:
    """A process and the cases that it has been given."""

    def __init__(self, context, task: tuple[str, int, int], seed: int, found) -> None:
        self.kind, first, self.stop = task
        self.at = context.Array(ctypes.c_int64, [first, int(time.monotonic()) + 60])
        self.process = context.Process(
            target=work, args=(self.kind, seed, first, self.stop, self.at, found)
        )
        self.process.start()

    def lost(self) -> str:
        """How it was lost, "" when it runs or is done."""
        if self.process.is_alive():
            if time.monotonic() - self.at[1] < HANGS_AFTER_S:
                return ""
            self.process.kill()
            self.process.join()
            return f"hangs for more than {HANGS_AFTER_S:g} s"
        return f"process ended with {self.process.exitcode}" if self.process.exitcode else ""


def main() -> int:
    read = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    read.add_argument("--files", type=int, default=10_000, help="weather files")
    read.add_argument("--scenarios", type=int, default=10_000)
    read.add_argument("--workers", type=int, default=2)
    read.add_argument("--seed", type=int, default=1)
    read.add_argument("--first", type=int, default=0, help="number of the first case")
    read.add_argument("--out", type=Path, default=Path("fuzz-failures"))
    asked = read.parse_args()

    os.environ.setdefault("OMP_NUM_THREADS", "1")
    context = multiprocessing.get_context("fork")
    import mutants  # before the workers, which share it

    for kind in mutants.KINDS:  # what is loaded once is loaded here
        with tempfile.TemporaryDirectory() as folder:
            list(mutants.failures(kind, 0, range(20), Path(folder)))
    found = context.Queue()
    tasks = [
        (kind, start, min(start + AT_ONCE, asked.first + count))
        for kind, count in ((mutants.WEATHER, asked.files), (mutants.SCENARIO, asked.scenarios))
        for start in range(asked.first, asked.first + count, AT_ONCE)
    ]
    total, began, failed = sum(b - a for _, a, b in tasks), time.monotonic(), 0
    told_at, workers = began, list[Worker]()

    def keep(kind: str, number: int, told: str) -> None:
        nonlocal failed
        failed += 1
        asked.out.mkdir(parents=True, exist_ok=True)
        name, data = mutants.case(kind, asked.seed, number)
        stem = f"{kind}-{asked.seed}-{number}"
        (asked.out / f"{stem}-{name}").write_bytes(data)
        (asked.out / f"{stem}.txt").write_text(told)
        print(f"{kind} {number}: {told.strip().splitlines()[-1][:160]}", flush=True)

    while tasks or workers:
        while tasks and len(workers) < asked.workers:
            workers.append(Worker(context, tasks.pop(0), asked.seed, found))
        time.sleep(0.02)
        while not found.empty():
            keep(*found.get())
        for worker in [*workers]:
            lost = worker.lost()
            if lost:
                number = worker.at[0]
                keep(worker.kind, number, lost)
                if number + 1 < worker.stop:
                    tasks.insert(0, (worker.kind, number + 1, worker.stop))
            if lost or not worker.process.is_alive():
                worker.process.join()
                workers.remove(worker)
        if time.monotonic() - told_at > 30.0:
            told_at = time.monotonic()
            left = sum(b - a for _, a, b in tasks)
            rate = (total - left) / (told_at - began)
            print(f"{total - left:,} of {total:,} cases, {rate:.0f} a second", flush=True)
    time.sleep(0.2)
    while not found.empty():
        keep(*found.get())
    took = time.monotonic() - began
    print(f"{total:,} cases in {took:.0f} s, {total / took:.0f} a second; {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
