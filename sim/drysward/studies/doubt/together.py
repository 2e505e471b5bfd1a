"""What numbers of the catalog can be at once: narrower ranges, and how they vary together.

Single ranges drawn one by one would make turf that no trial has seen: deep roots that wilt early,
thirsty grass that never browns. ``known_together.toml`` holds what is left of the ranges once the
published cases must come out, and the correlations that they force on the numbers.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

from drysward.catalog import Catalog, load_catalog
from drysward.ranges import USUAL_CHANCE, Range


@dataclass(frozen=True)
class KnownTogether:
    """By dotted name of a number: its ``ends``, each passed 1 time in 20, and its correlations
    ``along`` with other numbers, given once for each pair.
    """

    ends: Mapping[str, tuple[float, float]]
    along: Mapping[str, Mapping[str, float]]

    def range_of(self, catalog: Catalog, dotted: str) -> Range | None:
        """Range of a number of ``catalog`` with all others, None where it is known by itself."""
        if dotted not in self.ends:
            return None
        kind, entry, name = dotted.split(".")
        number, limits = catalog.get(kind, entry).parameter(name), catalog.meanings[name]
        low, high = self.ends[dotted]
        return Range(
            min(low, number.value), number.value, max(high, number.value),
            limits.low, limits.high, USUAL_CHANCE,
        )  # fmt: skip


@cache
def known_together() -> KnownTogether:
    """What ships with the package, read once."""
    tables = tomllib.loads(load_catalog().texts["known_together"])
    return KnownTogether(
        {name: (float(row["low"]), float(row["high"])) for name, row in tables.items()},
        {name: dict(row["with"]) for name, row in tables.items() if "with" in row},
    )
