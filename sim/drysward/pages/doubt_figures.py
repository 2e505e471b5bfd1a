"""Figure of what is not known: it draws on one axes and returns it; see ``figures``."""

from __future__ import annotations

import xarray as xr
from matplotlib.axes import Axes

from drysward.pages import style
from drysward.pages.figures import start
from drysward.pages.result import keys, label

_LONGEST_NAME = 34


def doubt(result: xr.Dataset, field: str, *, axes: Axes | None = None, units: str = "us") -> Axes:
    """Days below playing condition by plan: 5 to 95% across draws, and their mean."""
    axes = start(axes)
    with style.look():
        names = keys(result, "plan")
        of_field = result.sel(field=field)
        mean, low, high = (
            of_field[f"doubt_days_below_condition{end}"].sel(plan=names).values
            for end in ("", "_low", "_high")
        )
        at = range(len(names))
        for i in at:
            # Each on a line of its own that bears its name: the color is only an aid.
            color = style.line_style(i)["color"]
            axes.hlines(i, low[i], high[i], color=color, linewidth=2.4)
            axes.vlines([low[i], high[i]], i - 0.16, i + 0.16, color=color, linewidth=1.4)
            axes.plot([mean[i]], [i], linestyle="", marker="o", markersize=7, color=color)
        axes.set_yticks(at, [label(result, "plan", key)[:_LONGEST_NAME] for key in names])
        axes.set_ylim(len(names) - 0.5, -0.5)
        axes.set_xlim(0, None)
        axes.grid(visible=True, axis="x")
        axes.grid(visible=False, axis="y")
        axes.set_xlabel("days below playing condition a year")
    return axes
