"""What a page shows beside the answers: daily accounts of three years, limits, every value used.

It is worked out once, when a result is kept as a file, so that whoever draws it computes nothing.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict
from functools import partial

import numpy as np
import xarray as xr

from drysward.day.records import CALENDAR_DAYS, TRACE, records
from drysward.drive.runs import PlanRun, advance, start_run
from drysward.results.frequency import wilson_limits
from drysward.results.play import play_answers
from drysward.scenario.model import Scenario
from drysward.scenario.resolved import resolved_values
from drysward.site.stretches import PreparedSite, stretches
from drysward.site.weather_years import weather_series
from drysward.weather.record import DailyRecord

CASES = ("dry", "middling", "wet")
SHARES = (0.1, 0.25, 0.5, 0.75, 0.9)
KEPT = (
    "precipitation", "reference_et", "irrigation_landed", "transpiration", "runoff", "drainage",
    "surface_water", "root_water", "depletion", "footprint", "wilt", "green", "dormant", "dead",
    "worn", "winter_rest", "drought_index",
)  # fmt: skip
KEPT_OF_PLAY = ("hardness", "air_filled")
PLAY_STATES = ("fit", "hard", "wet", "frozen")
NOT_LOOKED_AT = -1


def with_details(
    result: xr.Dataset,
    scenario: Scenario,
    settings: str = "",
    record: DailyRecord | None = None,
) -> xr.Dataset:
    """A result with what a reader's page needs.

    Parameters
    ----------
    result : Dataset of ``drysward.run`` of ``scenario``.
    settings : options of the command line that changed the scenario, to tell how to run it again.
    record : daily weather in place of the scenario's file, as given to ``drysward.run``.

    Returns
    -------
    ``result`` with ``odds_low`` and ``odds_high`` (90 % limits of the odds of each calendar day),
    ``irrigation_month_quantile`` over the years, ``water_saved`` against the thirstiest plan,
    ``daily_NAME`` of the driest, the middling and the wettest year by season's deficit
    (dimensions case and turf_day), the answers of play, and the attribute ``resolved`` (JSON):
    every value that the scenario ran on, with unit, grade and sources.
    """
    n = min(int(result.attrs["independent_years"]), result.sizes["year"])
    low, high = wilson_limits(result["odds"].values * n, n)
    out = result.assign(
        odds_low=(result["odds"].dims, low, _told("1", "lower 90 % limit of the daily odds")),
        odds_high=(result["odds"].dims, high, _told("1", "upper 90 % limit of the daily odds")),
    )
    by_month = out["irrigation_month"].quantile(SHARES, "year").rename(quantile="share")
    out["irrigation_month_quantile"] = by_month.transpose(
        "field", "plan", "month", "share"
    ).assign_attrs(_told("mm", "irrigation of the month that the share of years does not pass"))
    water = out["irrigation_gross"].mean("year")
    out["water_saved"] = (water.max("plan") - water).transpose("field", "plan")
    out["water_saved"].attrs = _told("mm", "mean irrigation a year less than the thirstiest plan's")
    out = out.merge(chosen_days(result, scenario, record), combine_attrs="override")
    if "play_days_hard" in out:
        played = play_answers(result)
        out = out.assign({name: v for name, v in played.data_vars.items() if name not in out})
    rows = resolved_values(scenario)
    used = {key for row in rows for key in row.source.split(", ")}
    sources = {key: told for key, told in scenario.catalog.sources.items() if key in used}
    out.attrs.update(
        resolved=json.dumps([asdict(row) for row in rows]),
        sources=json.dumps(sources),
        settings=settings,
        turf_year_starts="07-01" if scenario.site.latitude_deg < 0.0 else "01-01",
    )
    return out


def chosen_days(
    result: xr.Dataset, scenario: Scenario, record: DailyRecord | None = None
) -> xr.Dataset:
    """The daily account of three years for each field and plan.

    The driest, the middling and the wettest year by ``deficit``; the same year may stand for
    several when there are few. Days are counted from the start of the turf year, from 1; the
    last one is NaN in a year of 365.
    """
    years = [int(year) for year in result["year"].values]
    order = np.argsort(-result["deficit"].values, kind="stable")
    chosen = [years[order[place]] for place in (0, (len(years) - 1) // 2, -1)]
    names = KEPT + (KEPT_OF_PLAY if "play_days_hard" in result else ())
    plans = [scenario.plan_named(str(key)) for key in result["plan"].values]
    kept = _Kept(chosen, names, (result.sizes["field"], len(plans)))
    runs: list[PlanRun] = []
    left = set(chosen)
    with ThreadPoolExecutor() as pool:
        for site in stretches(scenario, weather_series(scenario, record), (years[0], years[-1])):
            runs = runs or [start_run(site, plan) for plan in plans]
            counted = np.where(
                np.arange(site.calendar.size) >= site.from_day, site.calendar.year, -1
            )
            spans = {year: np.flatnonzero(counted == site.years.index(year)) for year in left}
            spans = {year: span for year, span in spans.items() if span.size}
            list(pool.map(partial(kept.take, site, spans), range(len(plans)), runs))
            left -= set(spans)
            if not left:
                break
    quantities = scenario.catalog.quantities
    data: dict[str, tuple] = {}
    for name in names:
        told = _told(quantities[name].units, quantities[name].long_name)
        data[f"daily_{name}"] = (("field", "plan", "case", "turf_day"), kept.days[name], told)
    if "play_days_hard" in result:
        told = _told("1", "what the surface is fit for on the day")
        told["flag_meanings"] = " ".join(PLAY_STATES)
        data["daily_play"] = (("field", "plan", "case", "turf_day"), kept.play, told)
    return xr.Dataset(
        data,
        coords={
            "case": list(CASES),
            "turf_day": np.arange(1, CALENDAR_DAYS + 1, dtype=np.int32),
            "chosen_year": ("case", np.array(chosen, np.int32)),
        },
    )


class _Kept:
    """Days of the chosen years by field, plan, case and turf day, gathered as plans advance."""

    def __init__(
        self, chosen: Sequence[int], names: Sequence[str], fields_and_plans: tuple[int, int]
    ) -> None:
        size = (*fields_and_plans, len(CASES), CALENDAR_DAYS)
        self.chosen = chosen
        self.days = {name: np.full(size, np.nan, np.float32) for name in names}
        self.play = np.full(size, NOT_LOOKED_AT, np.int8)

    def take(
        self, site: PreparedSite, spans: Mapping[int, np.ndarray], plan: int, run: PlanRun
    ) -> None:
        """Advance a run through a stretch; ``spans`` are the days of the chosen years in it."""
        first = min((int(span[0]) for span in spans.values()), default=0)
        last = max((int(span[-1]) + 1 for span in spans.values()), default=0)
        account = advance(site, run, slice(first, last)).trace
        # A stretch of days of many plans would fill the memory.
        run.trace = records(TRACE, (0, site.fields.size))
        on = site.play.fields.on > 0.0
        for case, year in enumerate(self.chosen):
            if year not in spans:
                continue
            days = account[spans[year] - first]
            for name, values in self.days.items():
                values[:, plan, case, : len(days)] = days[name].T
            states = play_states(days, site.play.fields.share)
            self.play[on, plan, case, : len(days)] = states.T[on]


def play_states(account: np.ndarray, share: np.ndarray) -> np.ndarray:
    """State of each day and field (T, F), a place in ``PLAY_STATES``.

    ``account`` is TRACE (T, F); ``share`` (F,) is how much of the field must be affected. Frozen
    comes before hard or dusty, and that before mud or standing water.
    """
    hard = (account["hard"] >= share) | (account["dust"] >= share)
    wet = (account["mud"] >= share) | (account["standing"] >= share)
    return np.select([account["frozen"] > 0.0, hard, wet], [3, 1, 2], 0)


def _told(units: str, long_name: str) -> dict[str, str]:
    return {"units": units, "long_name": long_name}
