"""The restrictions of a site in plain lines."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from drysward.quantities import shown
from drysward.results.text import listed
from drysward.scenario.supply_tables import CALENDAR, DROUGHT
from drysward.scenario.values import WEEKDAYS, named_day

if TYPE_CHECKING:
    from drysward.scenario.model import Scenario

def stage_lines(scenario: Scenario, system: str) -> Iterator[str]:
    """The restriction stages of the site, a line each."""
    rules = scenario.supply.restrictions if scenario.supply else None
    if rules is None:
        return
    labels = {field.key: field.label for field in scenario.fields}
    depth = shown("mm", system)
    for stage in rules.stages:
        if rules.index == CALENDAR:
            when = f"{named_day(stage.first)} to {named_day(stage.last)}"
        elif rules.index == DROUGHT:
            above, below = (
                f"{value * depth.factor:.{depth.decimals}f} {depth.unit}"
                for value in (stage.enter, stage.leave)
            )
            when = f"from a drought index of {above} until {below}"
        else:
            when = f"from storage at {stage.enter:.0%} until {stage.leave:.0%}"
        days = [name for name, may in zip(WEEKDAYS, stage.allowed, strict=True) if may]
        some = f"{listed(days)} only" if 0 < len(days) < len(WEEKDAYS) else "any day"
        parts = [some if days else "no day"]
        parts += [f"{stage.share:.0%} of the demand"] if stage.share < 1.0 else []
        parts += ["crowns only"] if stage.crown_only else []
        parts += [f"not {listed([labels[key] for key in stage.exempt])}"] if stage.exempt else []
        yield f"{when}: {', '.join(parts)}"
