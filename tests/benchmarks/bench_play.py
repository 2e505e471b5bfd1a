"""What it costs to look at play: the day loop with it on beside the same fields with it off.

Run ``python tests/benchmarks/bench_play.py``; the suite ignores this folder. Quote the ratio:
both are measured in turns in one run.
"""

from __future__ import annotations

from dataclasses import replace
from time import perf_counter

import drysward
from drysward.drive.runs import advance, start_run
from drysward.scenario.model import PlanSpec, Scenario
from drysward.site.stretches import PreparedSite, stretches
from drysward.site.weather_years import weather_series

TURNS = 60


def once(sites: list[PreparedSite], plan: PlanSpec) -> float:
    """Seconds for one plan through all years."""
    begun = perf_counter()
    run = start_run(sites[0], plan)
    for site in sites:
        advance(site, run)
    return perf_counter() - begun


def without_play(scenario: Scenario) -> Scenario:
    fields = tuple(replace(f, play=None) for f in scenario.fields)
    plans = tuple(replace(p, syringe=None) for p in scenario.plans)
    return replace(scenario, fields=fields, plans=plans)


def main() -> None:
    shipped = drysward.shipped("match-days")
    turf = replace(shipped, fields=tuple(f for f in shipped.fields if f.surface == "turf"))
    both = [
        (list(stretches(one, weather_series(one))), one.plan_named("refill_morning"))
        for one in (without_play(turf), turf)
    ]
    for pair in both:
        once(*pair)  # compiles
    turns = [[once(*pair) for pair in both] for _ in range(TURNS)]
    off, on = (min(times) for times in zip(*turns, strict=True))
    patch_days = both[0][0][0].catches.size * sum(s.calendar.size - s.from_day for s in both[0][0])
    print(f"day loop without play  {patch_days / off / 1e6:6.1f} M patch-days/s")
    print(f"day loop with play     {patch_days / on / 1e6:6.1f} M patch-days/s")
    print(f"  with / without       {on / off:6.2f}")


if __name__ == "__main__":
    main()
