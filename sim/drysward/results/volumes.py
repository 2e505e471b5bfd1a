"""Water of the whole site as volumes, beside the depths and volumes of its fields."""

from __future__ import annotations

import xarray as xr

from drysward.results.frequency import demand_estimates, distinct_years, worth


def site_volumes(result: xr.Dataset, periods: tuple[float, ...]) -> xr.Dataset:
    """Water that all fields draw together, by plan.

    Parameters
    ----------
    result : Dataset of ``drysward.run``.
    periods : return periods (years).

    Returns
    -------
    Dataset in m3: ``site_season_volume``, the mean of the years; ``site_peak_week_volume``, the
    peak weeks of the fields together, the most of any year (no less than the site's own peak
    week); and ``site_demand_volume`` by period, the water drawn in dry years, read
    as that of a field: where a supply falls short it is less than the demand, which
    ``supply_answers`` has.
    """
    per_mm = result["area_m2"] / 1000.0
    water = (result["irrigation_gross"] * per_mm).sum("field").transpose("plan", "year")
    weeks = (result["peak_week"] * per_mm).sum("field").max("year")
    years = worth(water.values, distinct_years(result))
    out = xr.Dataset(coords={name: result[name] for name in ("plan", "plan_label")})
    out = out.assign_coords(period=("period", list(periods), {"units": "year"}))
    for name, dims, values, long_name in (
        ("season", ("plan",), water.mean("year").values, "mean irrigation a year of the site"),
        ("peak_week", ("plan",), weeks.values, "peak weeks of the fields together"),
        (
            "demand",
            ("plan", "period"),
            demand_estimates(years, periods),
            "irrigation drawn by the site, by return period",
        ),
    ):
        attrs = {"units": "m3", "long_name": f"{long_name}, as volume"}
        out[f"site_{name}_volume"] = (dims, values, attrs)
    return out
