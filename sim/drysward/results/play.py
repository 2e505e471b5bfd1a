"""From yearly numbers of play to means and odds, with their sampling error."""

from __future__ import annotations

import numpy as np
import xarray as xr

MEANS = (
    "days_hard", "days_soft", "days_mud", "days_standing", "days_airless", "longest_airless",
    "days_weed_prone", "disease_nights", "mean_hardness", "hardest", "peak_worn",
    "peak_root_loss", "use_hours", "covered_days", "rain_kept_off", "cover_labor", "syringed",
    "days_dust", "events",
)  # fmt: skip
EVENTS = ("playable", "hard", "wet", "frozen")
RANGED = (
    "days_hard", "mean_hardness", "days_mud", "days_standing", "days_airless", "days_weed_prone",
    "disease_nights", "peak_worn", "peak_root_loss", "days_dust",
)  # fmt: skip
"""Of MEANS those that are shown, and have a range over draws; so have the shares of EVENTS."""
HAMMER = "2.25 kg hammer"
"""What g of hardness and its limits are of."""


def hard_limits(result: xr.Dataset) -> dict[str, float]:
    """Hardness (Gmax, g) over which each turf field with play is hard, by key; none in a file that
    lacks it.
    """
    if "hard_above" not in result.variables:
        return {}
    on = result["has_play"].values.astype(bool) & ~result["skinned"].values.astype(bool)
    return {
        str(key): float(limit)
        for key, limit, is_on in zip(
            result["field"].values, result["hard_above"].values, on, strict=True
        )
        if is_on
    }


def play_answers(result: xr.Dataset) -> xr.Dataset:
    """What each plan leaves of a field to play on.

    Parameters
    ----------
    result : Dataset of ``drysward.run`` of a scenario in which a field has play.

    Returns
    -------
    Dataset by field and plan: ``NAME_mean`` and ``NAME_se`` (sampling error of the mean over
    the years) of the yearly numbers, ``longest_airless_most``, and for the events the share
    of all events that are playable, too hard, too wet or frozen, as ``events_KIND_share`` and
    ``_se``. Years, not events, count in the error: days of one year hang together. NaN for
    fields without play or events. ValueError when no field has play.
    """
    if "play_days_hard" not in result:
        raise ValueError("no field of the run has play")
    out = xr.Dataset(attrs=dict(result.attrs))
    on = result["has_play"]
    n = min(int(result.attrs["independent_years"]), result.sizes["year"])
    for name in MEANS:
        values = result[f"play_{name}"].where(on)
        meaning = values.attrs.get("long_name", name)
        units = values.attrs.get("units", "1")
        mean = values.mean("year")
        out[f"{name}_mean"] = mean.assign_attrs(units=units, long_name=f"mean of {meaning}")
        error = values.std("year", ddof=1 if n > 1 else 0) / np.sqrt(n)
        out[f"{name}_se"] = error.assign_attrs(
            units=units, long_name=f"sampling error of the mean of {meaning}"
        )
    most = result["play_longest_airless"].where(on).max("year")
    out["longest_airless_most"] = most.assign_attrs(
        units="d", long_name="longest spell short of air of any year"
    )
    events = result["play_events"].where(on)
    total = events.sum("year")
    for kind in EVENTS:
        these = result[f"play_events_{kind}"].where(on)
        share = these.sum("year") / total.where(total > 0.0)
        # Ratio estimate (Cochran 1977, from memory): spread of the years about the ratio.
        about = these - share * events
        error = about.std("year") / (np.sqrt(n) * events.mean("year").where(total > 0.0))
        out[f"events_{kind}_share"] = share.assign_attrs(
            units="1", long_name=f"share of events that are {kind}"
        )
        out[f"events_{kind}_se"] = error.assign_attrs(
            units="1", long_name=f"sampling error of the share of events that are {kind}"
        )
    return out
