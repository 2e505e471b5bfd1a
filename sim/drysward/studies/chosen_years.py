"""What a page shows beside the answers: daily accounts of three years, limits, every value used.

It is worked out once, when a result is kept as a file, so that drawing a page computes nothing.
"""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from drysward.catalog import Catalog
from drysward.day.records import CALENDAR_DAYS
from drysward.drive.runs import Runs
from drysward.results.odds import wilson_limits
from drysward.results.play import play_answers
from drysward.scenario.model import Scenario
from drysward.scenario.resolved import resolved_values
from drysward.site.stretches import PreparedSite

CASES = ("dry", "middling", "wet")
SHARES = (0.1, 0.25, 0.5, 0.75, 0.9)
KEPT = (
    "precipitation", "reference_et", "irrigation_landed", "transpiration", "runoff", "drainage",
    "surface_water", "root_water", "depletion", "footprint", "wilt", "green", "dormant", "dead",
    "worn", "winter_rest", "drought_index",
)  # fmt: skip
KEPT_OF_PLAY = ("hardness", "air_filled")
PLAY_STATES = ("fit", "hard", "wet", "frozen")
NOT_SIMULATED = -1


def with_details(result: xr.Dataset, scenario: Scenario, settings: str = "") -> xr.Dataset:
    """A result with what a reader's page needs.

    Parameters
    ----------
    result : Dataset of ``drysward.run`` of ``scenario`` with ``daily``.
    settings : options of the command line that changed the scenario, needed to run it again.

    Returns
    -------
    ``result`` with ``odds_low`` and ``odds_high`` (90% limits of the odds of each calendar day),
    ``irrigation_month_quantile`` over the years, ``water_saved`` against the thirstiest plan,
    the answers of play, and the attribute ``resolved`` (JSON): every value that the scenario ran
    on, with unit, grade and sources.
    """
    n = min(int(result.attrs["independent_years"]), result.sizes["year"])
    low, high = wilson_limits(result["odds"].values * n, n)
    out = result.assign(
        odds_low=(result["odds"].dims, low, _attrs("1", "lower 90% limit of the daily odds")),
        odds_high=(result["odds"].dims, high, _attrs("1", "upper 90% limit of the daily odds")),
    )
    by_month = out["irrigation_month"].quantile(SHARES, "year").rename(quantile="share")
    out["irrigation_month_quantile"] = by_month.transpose(
        "field", "plan", "month", "share"
    ).assign_attrs(_attrs("mm", "irrigation of the month that the share of years does not pass"))
    water = out["irrigation_gross"].mean("year")
    out["water_saved"] = (water.max("plan") - water).transpose("field", "plan")
    saved = "mean irrigation a year less than the thirstiest plan's"
    out["water_saved"].attrs = _attrs("mm", saved)
    if "play_days_hard" in out:
        played = play_answers(result)
        out = out.assign({name: v for name, v in played.data_vars.items() if name not in out})
    rows = resolved_values(scenario)
    used = {key for row in rows for key in row.source.split(", ")}
    sources = {key: attrs for key, attrs in scenario.catalog.sources.items() if key in used}
    out.attrs.update(
        resolved=json.dumps([asdict(row) for row in rows]),
        sources=json.dumps(sources),
        settings=settings,
        turf_year_starts="07-01" if scenario.site.latitude_deg < 0.0 else "01-01",
    )
    return out


class DailyAccounts:
    """Days of the driest, the middling and the wettest year, gathered as plans advance.

    Years are chosen by their ``deficit_mm`` (Y,); the same year may stand for several when there
    are few.
    """

    def __init__(self, deficit_mm: np.ndarray, site: PreparedSite, n_plans: int) -> None:
        years = site.years
        order = np.argsort(-deficit_mm, kind="stable")
        self.chosen = [years[order[place]] for place in (0, (len(years) - 1) // 2, -1)]
        self.is_played = bool(site.play.fields.on.any())
        size = (site.fields.size, n_plans, len(CASES), CALENDAR_DAYS)
        names = KEPT + (KEPT_OF_PLAY if self.is_played else ())
        self.days = {name: np.full(size, np.nan, np.float32) for name in names}
        self.play = np.full(size, NOT_SIMULATED, np.int8)

    def days_in(self, site: PreparedSite) -> NDArray[np.int64]:
        """Days of a stretch that are kept, by number."""
        places = [site.years.index(year) for year in self.chosen]
        days = np.flatnonzero(np.isin(site.calendar.year, places))
        return days[days >= site.from_day]

    def take(self, site: PreparedSite, days: NDArray[np.int64], first: int, runs: Runs) -> None:
        """Keep what ``runs``, of the plans from ``first`` on, did on ``days``."""
        plans = slice(first, first + len(runs.specs))
        on = site.play.fields.on > 0.0
        for case, year in enumerate(self.chosen):
            of_year = runs.trace[:, site.calendar.year[days] == site.years.index(year)]
            n_days = of_year.shape[1]
            if n_days == 0:
                continue
            for name, values in self.days.items():
                values[:, plans, case, :n_days] = of_year[name].transpose(2, 0, 1)
            states = play_states(of_year, site.play.fields.share)
            self.play[on, plans, case, :n_days] = states.transpose(2, 0, 1)[on]

    def dataset(self, catalog: Catalog) -> xr.Dataset:
        """``daily_NAME`` by field, plan, case and day of the turf year, counted from 1.

        The last day is NaN in a year of 365.
        """
        data: dict[str, tuple] = {}
        for name, values in self.days.items():
            term = catalog.quantities[name]
            plain = _attrs(term.units, term.long_name)
            data[f"daily_{name}"] = (("field", "plan", "case", "turf_day"), values, plain)
        if self.is_played:
            attrs: dict[str, Any] = {
                **_attrs("1", "what the surface is fit for on the day"),
                "flag_values": np.arange(NOT_SIMULATED, len(PLAY_STATES), dtype=np.int8),
                "flag_meanings": " ".join(("not_simulated", *PLAY_STATES)),
            }
            data["daily_play"] = (("field", "plan", "case", "turf_day"), self.play, attrs)
        return xr.Dataset(
            data,
            coords={
                "case": list(CASES),
                "turf_day": np.arange(1, CALENDAR_DAYS + 1, dtype=np.int32),
                "chosen_year": ("case", np.array(self.chosen, np.int32)),
            },
        )


def play_states(account: np.ndarray, share: np.ndarray) -> np.ndarray:
    """State of each day and field (..., T, F), a place in ``PLAY_STATES``.

    ``account`` is TRACE (..., T, F); ``share`` (F,) is how much of the field must be affected.
    Frozen comes before hard or dusty, and that before mud or standing water.
    """
    hard = (account["hard"] >= share) | (account["dust"] >= share)
    wet = (account["mud"] >= share) | (account["standing"] >= share)
    return np.select([account["frozen"] > 0.0, hard, wet], [3, 1, 2], 0)


def _attrs(units: str, long_name: str) -> dict[str, str]:
    return {"units": units, "long_name": long_name}
