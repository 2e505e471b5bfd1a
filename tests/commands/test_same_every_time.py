"""A command says and writes the same, to the last bit, in every process: no order of a set, which
each process has its own, comes through.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

WORDS = ("compare", "pond", "--years", "1-3", "--draws", "4", "--out", "out")


def done(folder: Path, hash_seed: str) -> dict[str, bytes]:
    """What a process of its own prints, and the files that it writes."""
    folder.mkdir()
    code = "from drysward.cli import start; start()"
    made = subprocess.run(
        [sys.executable, "-c", code, *WORDS],
        cwd=folder, env={**os.environ, "PYTHONHASHSEED": hash_seed}, capture_output=True,
        check=True,
    )  # fmt: skip
    files = {path.name: path.read_bytes() for path in (folder / "out").iterdir()}
    return {"printed": made.stdout, **files}


@pytest.mark.slow
def test_no_order_of_a_set_comes_through(tmp_path: Path) -> None:
    one, other = (done(tmp_path / seed, seed) for seed in ("1", "2"))
    assert "results.nc" in one
    assert one.keys() == other.keys()
    for name, content in one.items():
        assert content == other[name], name
