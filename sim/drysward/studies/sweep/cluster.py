"""Chunks of a sweep as tasks of a dask cluster; the same numbers as here, bit for bit."""

from __future__ import annotations

from collections.abc import Generator
from functools import lru_cache
from itertools import islice

from drysward.faults import Fault, FaultyInput
from drysward.studies.sweep.chunk import Arrays, Done
from drysward.studies.sweep.design import Design, design_of
from drysward.studies.sweep.drawn import CommonDraws, common_draws_of, run_numbers
from drysward.studies.sweep.folder import DrawnNumber, Manifest, program_digest
from drysward.studies.sweep.shared import Held

# Tasks for each thread of the cluster that are out at one time.
_IN_HAND = 2
PATIENCE = "15s"


def on_cluster(
    manifest: Manifest, missing: list[int], address: str
) -> Generator[Done, None, None]:
    """Chunks as the workers of the scheduler at ``address`` finish them.

    A task whose worker is lost goes to another. FaultyInput when there is no dask.distributed,
    no such scheduler, or a worker runs another state of the program.
    """
    try:
        from distributed import Client, as_completed
    except ImportError:
        what, allowed = "dask.distributed is not installed", "pip install 'drysward[cluster]'"
        raise FaultyInput(Fault("cluster", what, allowed)) from None
    try:
        client = Client(address, timeout=PATIENCE)
    except (OSError, ValueError) as error:
        reason = f"no scheduler answers at '{address}' ({error})"
        allowed = "an address such as tcp://127.0.0.1:8786, or the path of a scheduler file"
        raise FaultyInput(Fault("cluster", reason, allowed)) from None
    todo = iter(missing)
    with client:
        threads = max(sum(client.nthreads().values()), 1)

        def submit(chunk: int):  # type: ignore[no-untyped-def]
            return client.submit(run_task, manifest, chunk, pure=False, retries=2)

        running = as_completed([submit(chunk) for chunk in islice(todo, _IN_HAND * threads)])
        for future in running:
            chunk, kept, program = future.result()
            if program != manifest.identity["the program"]:
                reason = "a worker runs another state of the program"
                raise FaultyInput(Fault("cluster", reason, "the same installation everywhere"))
            future.release()
            for following in islice(todo, 1):
                running.add(submit(following))
            yield chunk, kept


def run_task(manifest: Manifest, chunk: int) -> tuple[int, Arrays, str]:
    """A chunk on a worker: its number, what is kept of its points, and the worker's program."""
    design, held, common = _prepared(
        manifest.text, manifest.base_text, manifest.name, manifest.folder, manifest.drawn
    )
    kept = run_numbers(
        design, manifest.numbers(chunk), held, common, n_years=len(manifest.years),
        drawn=manifest.drawn,
    )  # fmt: skip
    return chunk, kept, program_digest()


@lru_cache(maxsize=1)
def _prepared(
    text: str, base_text: str, name: str, folder: str, drawn: tuple[DrawnNumber, ...]
) -> tuple[Design, Held, CommonDraws | None]:
    """A worker's design of the sweep that it is at, what its points share and draw from."""
    from drysward.studies.sweep.description import sweep_of

    sweep = sweep_of(name, text, name, base_text, folder)
    return design_of(sweep), Held(), common_draws_of(sweep, drawn)
