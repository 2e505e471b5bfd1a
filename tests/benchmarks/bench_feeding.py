"""What feeding costs: the day loop with it on beside the same fields with it off.

Run ``python tests/benchmarks/bench_feeding.py``; the suite ignores this folder. Quote the ratios:
all are measured in turns in one run. Plans fill the lanes, as they do in a sweep.
"""

from __future__ import annotations

import tomllib
from time import perf_counter

from drysward.drive.runs import PLANS_TOGETHER, advance_all, start_runs
from drysward.scenario.load import from_tree, shipped_texts
from drysward.scenario.model import Scenario
from drysward.site.stretches import PreparedSite, stretches
from drysward.site.weather_years import weather_series

TURNS = 30
YEARS = 50
PLANS = {"stadium": "cool-season on sand", "practice": "cool-season on native soil"}


def once(site: PreparedSite) -> float:
    """Seconds for a block of plans through all years."""
    plan = site.scenario.plan_named("refill")
    runs = start_runs([(site, plan)] * PLANS_TOGETHER)
    begun = perf_counter()
    advance_all(site, runs)
    return perf_counter() - begun


def scenarios() -> dict[str, Scenario]:
    """The shipped demo as it is, and with both of its fields fed."""
    tree = tomllib.loads(shipped_texts()["demo"])
    tree["weather"]["years"] = YEARS
    fields = {
        key: {**field, "feeding": PLANS[key]} for key, field in tree["fields"].items()
    }
    both = {"without": from_tree(tree, "."), "with": from_tree({**tree, "fields": fields}, ".")}
    return both


def main() -> None:
    sites = {
        name: next(stretches(one, weather_series(one), years_at_once=None))
        for name, one in scenarios().items()
    }
    for site in sites.values():
        once(site)  # compiles
    turns = [{name: once(site) for name, site in sites.items()} for _ in range(TURNS)]
    best = {name: min(turn[name] for turn in turns) for name in sites}
    for name, site in sites.items():
        patch_days = PLANS_TOGETHER * site.catches.size * site.calendar.size
        print(f"{name:7} feeding  {patch_days / best[name] / 1e6:6.1f} M patch-days/s")
    print(f"with / without   {best['with'] / best['without']:6.2f}")


if __name__ == "__main__":
    main()
