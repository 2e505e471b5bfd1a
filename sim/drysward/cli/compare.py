"""``drysward compare``: every plan on every field, side by side."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from drysward.cli.arguments import (
    DEMO,
    announce,
    device_options,
    draws_option,
    files_of_scenario,
    force_option,
    format_option,
    open_scenario,
    scenario_argument,
    settings,
    units_option,
    weather_options,
    write_then_show,
    years_option,
)
from drysward.progress import progress

if TYPE_CHECKING:
    import xarray as xr

    from drysward.progress import Advance
    from drysward.scenario.model import Scenario


@click.command()
@scenario_argument(DEMO)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="Folder for results.nc and CSV files; created if missing, inside a folder that exists.",
)
@click.option(
    "--show",
    type=click.Choice(["stress", "play", "feeding"]),
    default="stress",
    show_default=True,
    help="Turf stress and water; play: hard, muddy and airless days, events; or feeding: mowing, "
    "hungry and lush turf, what leaves the field.",
)
@click.option(
    "--headline",
    type=click.Choice(["days below", "wilt", "dormancy", "death", "water", "cost"]),
    default="days below",
    show_default=True,
    help="What matters most: the first column. A stage also decides which plan keeps a field.",
)
@click.option("--detail", is_flag=True, help="Add all stages, volumes, costs, notes, cautions.")
@click.option("--months", is_flag=True, help="Add water by month.")
@click.option(
    "--without-supply",
    is_flag=True,
    help="Leave out [supply], [sizing] and the price of the storage: what the plans demand where "
    "water has no limit.",
)
@draws_option("Draws of the uncertain numbers of soil, grass and system, for the limits.")
@device_options
@format_option
@force_option
@units_option
@weather_options
@years_option
def command(
    scenario: str,
    out: Path | None,
    show: str,
    headline: str,
    detail: bool,
    months: bool,
    without_supply: bool,
    draws: int | None,
    device: str,
    check_device: int,
    form: str,
    force: bool,
    units: str | None,
    years: tuple[int, int] | None,
    **weather: Any,
) -> None:
    """Which plan keeps which field, and how much water it needs.

    SCENARIO is a scenario file (.toml); the shipped 'demo' runs where none is named. The first
    screen answers; --detail and --months print the tables behind it.
    """
    import drysward
    from drysward.faults import Fault, FaultyInput
    from drysward.files import Outputs
    from drysward.loading import load_in_background
    from drysward.results import RESULT_FILES

    opened = open_scenario(scenario, without_supply=without_supply, **weather)
    units = units or opened.units
    if show == "play":
        from drysward.site.play import require_play

        require_play(opened)
    if show == "feeding":
        from drysward.scenario.feeding_tables import require_feeding

        require_feeding(opened)
    # A folder that cannot be written is refused before the run, not after it.
    reads = files_of_scenario(scenario, opened)
    if out is not None:
        Outputs(reads, force).claim_folder(out, RESULT_FILES)
    announce(opened, years)
    has_effect = show == "feeding" or (out is not None and bool(opened.fed))
    drawn: xr.Dataset | str | None = None
    with progress() as begin, ThreadPoolExecutor(1) as beside:
        n = opened.draws if draws is None else draws
        running = begin("Running the plans")
        drawing = None
        if n != 0:
            report = begin("Running the draws")
            on = (device, check_device)
            drawing = beside.submit(_drawn, opened, n, years, report, has_effect, *on)
        load_in_background(
            "drysward.results.dataset", "drysward.results.summary", "drysward.screen.compare",
            "drysward.screen.formats",
        )  # fmt: skip
        result = drysward.run(opened, years=years, progress=running, daily=out is not None)
        from drysward.screen import compare

        drawn = None if drawing is None else drawing.result()
        effect: xr.Dataset | None = None
        if has_effect:
            plain = begin("Running the plans without feeding")
            effect = drysward.feeding_effect(opened, result, years, plain)
    if isinstance(drawn, str) and draws is not None:
        raise FaultyInput(Fault("--draws", drawn, "widen --years, or --draws 0 for none"))
    doubt, why = (None, drawn) if isinstance(drawn, str) else (drawn, "")
    summary = drysward.summarize(result, opened, draws=doubt, feeding=effect)
    if headline == "cost" and "field_cost_mean" not in summary:
        raise FaultyInput(
            Fault("--headline", "'cost' needs prices", "a table [costs], such as water = \"4.50 "
                  "per 1000 gal\"")
        )  # fmt: skip
    one = compare.Comparison(summary, doubt, why, units)
    if show == "play":
        from drysward.screen.play import play

        parts = play(summary)
    elif show == "feeding":
        from drysward.screen.feeding_answers import feeding

        parts = feeding(summary, opened, units, detail)
    else:
        parts = compare.overview(one, headline, with_notes=not detail)
    if detail:
        parts += compare.detail(one)
    if months:
        parts.append(compare.months(one))
    write = None
    if out is not None:
        chosen = settings(**weather)
        write = partial(drysward.save, result, out, opened, summary, units, chosen, force, reads)
    write_then_show(write, parts, form)


def _drawn(
    scenario: Scenario,
    n: int | None,
    years: tuple[int, int] | None,
    advance: Advance,
    feeding_effect: bool,
    device: str,
    check_device: int,
) -> xr.Dataset | str:
    """The answers across draws, or why there are none; what it needs loads beside the run."""
    import drysward
    from drysward.faults import CannotDraw

    try:
        return drysward.draws(
            scenario, n, years=years, progress=advance, feeding_effect=feeding_effect,
            device=device, check_device=check_device,
        )  # fmt: skip
    except CannotDraw as why:
        return str(why)
