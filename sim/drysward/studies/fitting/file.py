"""The file that a fit leaves: draws of its numbers, and what they rest on."""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path

from drysward import __version__
from drysward.files import Outputs
from drysward.scenario.fitted import inputs_of
from drysward.scenario.model import Scenario
from drysward.studies.fitting.fit import Fitted

DIGITS = 8


def fitted_text(fitted: Fitted, scenario: Scenario, readings: bytes, log: bytes) -> str:
    """The file as TOML; ``readings`` and ``log`` are the bytes of the files that it rests on."""
    lines = [
        f"# Numbers of {scenario.title!r}, fitted to {len(fitted.readings)} readings. Name this",
        '# file in the scenario: fitted = "THIS-FILE.toml", above its first table.',
        "# Draws stand in the same order for all numbers.",
        "",
        f'version = "{__version__}"',
        f'scenario = "{scenario.digest}"',
        f'readings = "{hashlib.sha256(readings).hexdigest()}"',
        f'log = "{hashlib.sha256(log).hexdigest()}"',
        f'date = "{fitted.date}"',
        "",
        "# Digests of the tables of the scenario that the fit rests on.",
        "[inputs]",
    ]
    lines += [f'"{k}" = "{v}"' for k, v in inputs_of(tomllib.loads(scenario.text)).items()]
    for i, one in enumerate(fitted.numbers):
        draws = ", ".join(f"{float(x):.{DIGITS}g}" for x in fitted.values[:, i])
        lines += ["", f'[numbers."{one.key}"]', f'unit = "{one.unit}"', f"draws = [{draws}]"]
    return "\n".join(lines) + "\n"


def write_fitted(path: Path, text: str, outputs: Outputs) -> list[Path]:
    """Write the file whole; FaultyInput where it would replace another or an input."""
    return outputs.write({path: lambda part: part.write_text(text, encoding="utf-8")})
