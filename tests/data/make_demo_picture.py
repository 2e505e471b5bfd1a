"""The README's picture: odds of wilt by calendar day on the demo's two fields, three plans.

Needs matplotlib, which drysward does not: ``pip install matplotlib``, then run this file.
"""

from __future__ import annotations

from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np

import drysward

PLANS = {"none": "#8a5a1f", "deficit": "#3f7f93", "refill": "#1d4a2a"}
MONTH_STARTS = [1, 32, 61, 92, 122, 153, 183, 214, 245, 275, 306, 336]


def draw(target: Path) -> None:
    """Write the picture as SVG."""
    result = drysward.run(drysward.shipped("demo"))
    figure, axes = plt.subplots(1, 2, figsize=(9, 3.2), sharey=True, layout="constrained")
    week = np.ones(7) / 7.0
    for axis, field in zip(axes, result.field.values, strict=True):
        for plan, colour in PLANS.items():
            here = result.sel(field=field, plan=plan)
            odds = here["odds"].sel(stage="wilt").values * 100.0
            label = str(here["plan_label"].values)
            smooth = np.convolve(odds, week, "same")
            axis.plot(result.day_of_year, smooth, color=colour, label=label)
        axis.set_title(str(result["field_label"].sel(field=field).values), loc="left")
        axis.set_xticks(MONTH_STARTS, list("JFMAMJJASOND"), ha="left")
        axis.spines[["top", "right"]].set_visible(False)
    axes[0].set_ylabel("years with a quarter of the\nfield at wilt, % (7-day mean)")
    axes[0].legend(frameon=False)
    axes[0].set_ylim(0, None)
    figure.savefig(target, metadata={"Date": None})


if __name__ == "__main__":
    draw(Path(__file__).with_name("demo-wilt-odds.svg"))
