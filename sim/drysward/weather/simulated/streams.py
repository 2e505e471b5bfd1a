"""Random streams of simulated weather, each found by its purpose and index, never by its turn."""

from __future__ import annotations

from enum import IntEnum

import numpy as np


class Purpose(IntEnum):
    """What a stream is for. The numbers are part of what a seed means: never renumber."""

    LATENT = 0
    DRIFT = 1
    YEAR = 2
    RESAMPLE = 3
    CHANGE = 4
    PLAIN = 5
    REFIT = 6


def stream(seed: int, purpose: Purpose, *index: int) -> np.random.Generator:
    """Independent generator for one purpose (and year) of a seed."""
    key = (int(purpose), *index)
    return np.random.Generator(np.random.Philox(np.random.SeedSequence(seed, spawn_key=key)))
