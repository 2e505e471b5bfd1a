"""Holds files that drysward writes to the CF conventions, by the IOOS compliance checker.

A result with a supply and prices, one with play and draws, weather as NetCDF, and a chunk of a
sweep; none may have an error of high priority. Needs the extra ``lint`` and no internet.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import drysward

SWEEP = """
title = "two triggers"
scenario = "demo"
plans = ["refill"]
years = 2
[design]
kind = "grid"
[axes.trigger]
key = "plans.refill.trigger"
values = [0.4, 0.6]
"""


def written(folder: Path) -> list[Path]:
    """One file of each kind, of few years and plans: the checker goes by the variable."""
    pond, match = drysward.shipped("pond"), drysward.shipped("match-days")
    run = drysward.run(pond, years=(1, 2), only=["refill"])
    summary = drysward.summarize(run, pond, supply=True)
    drysward.save(run, folder / "pond", pond, summary)
    run = drysward.run(match, years=(1, 2), daily=True)
    draws = drysward.draws(match, 2, years=(1, 2))
    drysward.save(run, folder / "match", match, drysward.summarize(run, match, draws))
    (folder / "sweep.toml").write_text(SWEEP)
    drysward.sweep(folder / "sweep.toml", folder / "sweep")
    weather = folder / "weather.nc"
    command = "from drysward.cli import start; start()"
    subprocess.run(
        [sys.executable, "-c", command, "weather", "make", "demo", "--out", str(weather)],
        check=True,
    )
    return [
        folder / "pond" / "results.nc", folder / "match" / "results.nc",
        folder / "sweep" / "chunk-000000.nc", weather,
    ]  # fmt: skip


def errors(path: Path) -> list[str]:
    """Errors of high priority in a file."""
    checker = Path(sys.executable).with_name("compliance-checker")
    found = subprocess.run(
        [str(checker), "-t", "cf:1.11", "-f", "json", "-o", "-", str(path)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    start = found.stdout.find("{")
    if start < 0:
        return [f"no report: {found.stderr.strip()}"]
    (report,) = json.loads(found.stdout[start:]).values()
    return [text for check in report["high_priorities"] for text in check["msgs"]]


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as folder:
        wrong = {path: errors(path) for path in written(Path(folder))}
    for path, texts in wrong.items():
        print(f"{path.parent.name}/{path.name}: {len(texts)} errors", *texts, sep="\n  ")
    sys.exit(any(wrong.values()))
