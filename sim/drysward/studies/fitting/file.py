"""The file that a fit leaves: draws of its numbers, and what they rest on."""

from __future__ import annotations

import hashlib
import json
import tomllib
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drysward import __version__
from drysward.files import Outputs
from drysward.scenario.fitted import inputs_of, is_of_supply
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
    of_supply = any(is_of_supply(one.key) for one in fitted.numbers)
    inputs = inputs_of(tomllib.loads(scenario.text), of_supply)
    lines += [f'"{k}" = "{v}"' for k, v in inputs.items()]
    for name, of in fitted.probes.items():
        lines += ["", "# It shows offset + gain x water by volume (0 to 1).",
                  f"[probes.{json.dumps(name, ensure_ascii=False)}]"]  # fmt: skip
        for part, values in zip(("offset", "gain"), of.T, strict=True):
            low, median, high = np.quantile(values, [0.05, 0.5, 0.95])
            lines += [f"# {part}: {median:.3g}, 5 to 95% {low:.3g} to {high:.3g}",
                      f"{part} = [{_draws(values)}]"]  # fmt: skip
    for i, one in enumerate(fitted.numbers):
        lines += ["", f'[numbers."{one.key}"]', f'unit = "{one.unit}"',
                  f"draws = [{_draws(fitted.values[:, i])}]"]  # fmt: skip
    return "\n".join(lines) + "\n"


def _draws(values: NDArray[np.float64]) -> str:
    return ", ".join(f"{float(x):.{DIGITS}g}" for x in values)


def write_fitted(path: Path, text: str, outputs: Outputs) -> list[Path]:
    """Write the file whole; FaultyInput where it would replace another or an input."""
    return outputs.write({path: lambda part: part.write_text(text, encoding="utf-8")})
