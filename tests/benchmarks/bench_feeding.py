"""What feeding costs: the day loop with it on beside the same fields with it off.

Run ``python tests/benchmarks/bench_feeding.py``; the suite ignores this folder. Quote the ratios:
all are measured in turns in one run. Plans fill the lanes, as they do in a sweep. Fields are those
of the shipped scenarios: alone, with play, and with a shared supply. All that have turf are fed.
"""

from __future__ import annotations

import tomllib
from time import perf_counter
from typing import Any

from drysward.drive.runs import PLANS_TOGETHER, advance_all, start_runs
from drysward.scenario.load import from_tree, shipped_texts
from drysward.scenario.model import Scenario
from drysward.site.stretches import PreparedSite, stretches
from drysward.site.weather_years import weather_series

TURNS = 30
YEARS = 50
SAND = "sand_over_gravel_12in"
ON_SAND, ON_NATIVE = "cool-season on sand", "cool-season on native soil"
CASES = {
    "demo": "fields alone", "match-days": "fields with play", "pond": "fields on a supply",
}  # fmt: skip


def once(site: PreparedSite) -> float:
    """Seconds for plans that refill the root zone, side by side through all years."""
    plan = next(plan for plan in site.scenario.plans if plan.rule == "refill")
    runs = start_runs([(site, plan)] * PLANS_TOGETHER)
    begun = perf_counter()
    advance_all(site, runs)
    return perf_counter() - begun


def scenario(name: str, is_fed: bool) -> Scenario:
    """A shipped scenario without its skinned fields, with all others fed or none."""
    tree: dict[str, Any] = tomllib.loads(shipped_texts()[name])
    tree["weather"]["years"] = YEARS
    fields = {k: field for k, field in tree["fields"].items() if field.get("surface") != "skinned"}
    for field in fields.values():
        field.pop("feeding", None)
        if is_fed:
            field["feeding"] = ON_SAND if field["root_zone"] == SAND else ON_NATIVE
    return from_tree({**tree, "fields": fields}, ".")


def prepared(name: str, is_fed: bool) -> PreparedSite:
    """All years of it as one stretch, with the code for it compiled."""
    one = scenario(name, is_fed)
    site = next(stretches(one, weather_series(one), years_at_once=None))
    once(site)
    return site


def main() -> None:
    for name, what in CASES.items():
        sites = {is_fed: prepared(name, is_fed) for is_fed in (False, True)}
        turns = [{is_fed: once(site) for is_fed, site in sites.items()} for _ in range(TURNS)]
        best = {is_fed: min(turn[is_fed] for turn in turns) for is_fed in sites}
        site = sites[True]
        millions = PLANS_TOGETHER * site.catches.size * site.calendar.size / 1e6
        print(
            f"{what:18}  unfed {millions / best[False]:5.1f}, fed {millions / best[True]:5.1f} M "
            f"patch-days/s; with / without {best[True] / best[False]:.2f}"
        )


if __name__ == "__main__":
    main()
