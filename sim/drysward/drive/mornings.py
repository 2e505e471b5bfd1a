"""Plans whose rule is a function in Python: what it knows each morning, and days run one by one."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.day.lanes import LANES, PLACE, SIZE, Spread
from drysward.day.loop import Batch, DayInput
from drysward.day.plan_demand import WEEK_DEPTH
from drysward.day.records import CALENDAR_DAYS, WEEK
from drysward.day.supply import SupplyState
from drysward.faults import Fault, FaultyInput, nearest, quoted
from drysward.physics.arithmetic import within
from drysward.scenario.model import FieldSpec, PlanSpec
from drysward.site.stretches import PreparedSite

FloatArray = NDArray[np.float64]

LAST_DAYS = 7
DAYS = "days_of_year"
"""Attribute of a function that waters on some days only: these, from 1. It need not be called on
the others.
"""


class Morning(NamedTuple):
    """What the person who waters knows in the morning, before the day's weather is known.

    Arrays are (runs, fields): one column a field, one row for each run that goes side by side (one
    in ``drysward.run``, one a draw in ``drysward.draws`` and ``drysward.size``). Values of the
    field are those of yesterday evening, as a mean over the field.

    Attributes
    ----------
    day_of_year : 1 (1 January) to 366, in the calendar of a leap year.
    month : 1 to 12.
    weekday : 0 (Monday) to 6.
    depletion : Share of the available water of the root zone that is gone, 0 to 1 and beyond; of
        what roots still reach, where some were lost for lack of air.
    deficit_mm : Water to field capacity of the whole root zone, mm; below 0 while water above
        field capacity drains. A depth is ``np.maximum(morning.deficit_mm, 0.0)``.
    available_mm : Available water of the root zone between field capacity and wilting point, mm;
        of what roots still reach, as ``depletion``.
    used_mm : Turf water use less rain since it was last watered, no more than the deficit, mm.
    days_since_water : Days since the last watering, 1 for yesterday.
    unfinished_mm : What is still to come of the last demand, at the pipes, mm. The part that
        neither evaporates in flight nor falls beside the field reaches the turf: ``unfinished_mm``
        times ``irrigation_landed / irrigation_gross`` of a ledger.
    wilt : Share of the field that wilted, 0 to 1.
    dormant : Share of the field that is dormant, 0 to 1.
    run_time_multiplier : How much longer to run so that the part that catches least has enough,
        1 and more.
    restriction_stage : Stage that was in force yesterday, the plan's or the water district's; 0
        for none.
    storage_m3 : Water in storage, m3; 0 without any.
    drought_index_mm : Reference ET less rain over the days that [answers] counts, mm.
    rain_mm : Rain and snow of the last seven days (7,), yesterday first, mm.
    reference_et_mm : Reference ET of the last seven days (7,), yesterday first, mm.

    Examples
    --------
    Six tenths of the reference ET of three days, every third day, unless 10 mm of rain fell:

    >>> def by_et(morning):
    ...     if morning.rain_mm[:3].sum() > 10.0:
    ...         return 0.0
    ...     due = morning.days_since_water >= 3
    ...     return np.where(due, 0.6 * morning.reference_et_mm[:3].sum(), 0.0)

    Rain and reference ET are of the whole site, so ``if`` may ask for them; depletion and the
    other arrays by run and field need ``np.where``.
    """

    day_of_year: int
    month: int
    weekday: int
    depletion: FloatArray
    deficit_mm: FloatArray
    available_mm: FloatArray
    used_mm: FloatArray
    days_since_water: FloatArray
    unfinished_mm: FloatArray
    wilt: FloatArray
    dormant: FloatArray
    run_time_multiplier: FloatArray
    restriction_stage: FloatArray
    storage_m3: FloatArray
    drought_index_mm: float
    rain_mm: FloatArray
    reference_et_mm: FloatArray


# For ``help``, which calls a field an alias for its number otherwise.
_SECTION = inspect.cleandoc(Morning.__doc__ or "").partition("-\n")[2].partition("\n\n")[0]
for _name, _meaning in re.findall(r"^(\w+) : (.*(?:\n +.*)*)", _SECTION, re.MULTILINE):
    getattr(Morning, _name).__doc__ = " ".join(_meaning.split())

# What of a morning stands in the block of a run.
_SEEN = {
    "depletion": "seen_depletion", "deficit_mm": "seen_deficit",
    "available_mm": "seen_taw", "used_mm": "owed_et", "days_since_water": "days_since_water",
    "unfinished_mm": "refill_left", "wilt": "seen_wilt", "dormant": "seen_dormant",
    "run_time_multiplier": "plan_run_time_multiplier", "restriction_stage": "stage",
}  # fmt: skip


def run_at_once(
    kernel: Callable[..., None],
    site: PreparedSite,
    specs: Sequence[PlanSpec],
    spread: Spread,
    left_unfinished: NDArray[np.int64],
    day_input: DayInput,
    *rest: Any,
) -> None:
    """All days of a stretch in one call of ``kernel``; as ``run_by_day``."""
    kernel(site.forcing, day_input, site.from_day, 0, day_input.calendar.shape[0], *rest)


def run_by_day(
    kernel: Callable[..., None],
    site: PreparedSite,
    specs: Sequence[PlanSpec],
    spread: Spread,
    left_unfinished: NDArray[np.int64],
    day_input: DayInput,
    batch: Batch,
    *rest: Any,
) -> None:
    """The days of a stretch, with functions called before each day of their plans' seasons.

    Parameters
    ----------
    kernel : ``drive.windows.run_windows``, compiled or not.
    specs : plan of each run.
    spread : how the runs lie in the lanes of ``batch``.
    left_unfinished : (runs, fields), to which the counted days are added on which a function
        demands nothing although a watering could not put on all of its last demand.
    rest : what else ``run_windows`` takes, from ``supply`` on.

    FaultyInput when a function gives what is no depth.
    """
    functions = _Functions(site, specs, spread, day_input, batch, rest[2], left_unfinished)
    nothing = site.forcing._replace(turfs=site.forcing.turfs[:0].view(np.recarray))
    n_days, n_lines = day_input.calendar.shape[0], day_input.days.shape[0]
    for first in range(0, n_days, n_lines):
        stop = min(first + n_lines, n_days)
        if site.forcing.turfs.shape[0]:
            kernel(site.forcing, day_input, stop, first, stop, batch, *rest)
        for day, end in functions.spans(max(first, site.from_day), stop):
            if functions.are_called[day]:
                functions.call(day)
            kernel(nothing, day_input, day, first, end, batch, *rest)
            functions.close(day)


class _Functions:
    """The functions of some runs, with where in the lanes they read and write.

    Runs of one function go through it together. What a day has is gathered for all of them at once:
    the functions are most of the time of a run, so little may be done for each.
    """

    def __init__(
        self, site: PreparedSite, specs: Sequence[PlanSpec], spread: Spread, day_input: DayInput,
        batch: Batch, supply: SupplyState, left_unfinished: NDArray[np.int64],
    ) -> None:  # fmt: skip
        self.site, self.specs, self.left_unfinished = site, specs, left_unfinished
        n_lanes = spread.n_runs * spread.n_fields
        lanes = spread.by_run(np.arange(spread.n_blocks * LANES).reshape(-1, LANES))
        assert lanes.size == n_lanes
        together: dict[int, list[int]] = {}
        for b, spec in enumerate(specs):
            if spec.function is not None:
                together.setdefault(id(spec.function), []).append(b)
        edges = np.cumsum([0, *map(len, together.values())])
        self.each = [
            (specs[runs[0]], slice(start, stop))
            for runs, (start, stop) in zip(together.values(), pairwise(edges), strict=True)
        ]
        self.runs = np.array([b for runs in together.values() for b in runs])
        block, lane = np.divmod(lanes[self.runs], LANES)
        places = np.array([PLACE[name] for name in _SEEN.values()])
        self.seen = block * SIZE + lane + places[:, None, None]
        self.depth = block * (WEEK * 3 * LANES) + WEEK_DEPTH * LANES + lane
        self.blocks, self.weekly = batch.blocks.reshape(-1), batch.weekly.reshape(-1)
        storage = supply.storage.view(np.ndarray)
        self.stage, self.volume = storage["stage"], storage["volume"]
        calendar = day_input.calendar.view(np.ndarray)
        self.year, self.month = calendar["year"], calendar["month"]
        self.weekday, self.day_of_year = calendar["weekday"], calendar["day_of_year"]
        self.drought_index = day_input.drought_index
        self.is_season: NDArray[np.bool_] = np.array([
            [within(day, *specs[b].season) for b in self.runs] for day in range(CALENDAR_DAYS)
        ])  # fmt: skip
        may_water = np.ones_like(self.is_season)
        for run, b in enumerate(self.runs):
            days = getattr(specs[b].function, DAYS, None)
            if days is not None:
                may_water[:, run] = np.isin(np.arange(1, CALENDAR_DAYS + 1), list(days))
        called = self.is_season & may_water
        self.are_called: NDArray[np.bool_] = np.any(called[self.day_of_year], axis=-1)
        # The largest watering of each, and what the months make of a depth.
        plans = batch.plans[self.runs].view(np.ndarray)
        loss = day_input.spray_loss.mean(axis=1)[plans["time_of_day"].astype(int)]
        arrives = (1.0 - loss) * (1.0 - batch.delivery.overspray[self.runs])
        most_mm = np.minimum(plans["most_depth"], plans["ground_takes"])
        most_mm = np.minimum(most_mm, plans["night_depth"] * arrives)
        self.most_mm = most_mm * (1.0 + 1e-9)
        self.adjust = np.ascontiguousarray(np.moveaxis(plans["adjust"], -1, 0))
        self.plans = plans
        self.is_cut = np.zeros(self.most_mm.shape, bool)  # the last demand, to one watering

    def spans(self, first: int, stop: int) -> Iterator[tuple[int, int]]:
        """Days to run in one go: each day alone with a function to call."""
        day = first
        while day < stop:
            end = day + 1
            while not self.are_called[day] and end < stop and not self.are_called[end]:
                end += 1
            yield day, end
            day = end

    def close(self, day: int) -> None:
        """Leave nothing for the same day of another week, on which no function may be called."""
        if self.are_called[day]:
            self.weekly[self.depth + int(self.weekday[day]) * (3 * LANES)] = 0.0

    def call(self, day: int) -> None:
        """Write what each function wants today into the weekly tables of its runs."""
        weather, weekday = self.site.weather, int(self.weekday[day])
        day_of_year, month = int(self.day_of_year[day]), int(self.month[day])
        last = slice(max(day - LAST_DAYS, 0), day)
        rain, et = np.zeros(LAST_DAYS), np.zeros(LAST_DAYS)
        n = last.stop - last.start
        rain[:n] = weather.record.rain_mm[last][::-1]
        et[:n] = weather.et.eto_mm[last][::-1]
        index = float(self.drought_index[day])
        seen = dict(zip(_SEEN, self.blocks[self.seen], strict=True))
        of_plan = seen["restriction_stage"]
        seen["restriction_stage"] = np.maximum(of_plan, self.stage[self.runs])
        # Of the site, so that fields have the same.
        seen["storage_m3"] = self.volume[self.runs] + np.zeros_like(of_plan)
        demand_mm = np.empty(self.depth.shape)
        for spec, runs in self.each:
            morning = Morning(
                day_of_year=day_of_year + 1,
                month=month + 1,
                weekday=weekday,
                drought_index_mm=index,
                rain_mm=rain,
                reference_et_mm=et,
                **{name: values[runs] for name, values in seen.items()},
            )
            demand_mm[runs] = depth_mm(spec, morning, self.site, day, demand_mm[runs].shape)
        self.weekly[self.depth + weekday * (3 * LANES)] = demand_mm
        demand_mm *= self.adjust[month]
        is_cut = demand_mm > self.most_mm
        if not is_cut.any() and not self.is_cut.any():
            return
        # On other days the plan, and not its function, keeps water back.
        may_water = self.is_season[day_of_year][:, None] & (
            self.plans["allowed"][..., weekday] > 0.0
        )
        may_water &= seen["days_since_water"] >= self.plans["interval"]
        if self.year[day] >= 0:
            is_left = (demand_mm == 0.0) & (seen["unfinished_mm"] > 0.0)
            is_left &= seen["deficit_mm"] > 0.0  # after rain nothing is left to finish
            self.left_unfinished[self.runs] += self.is_cut & may_water & is_left
        self.is_cut = np.where(may_water, is_cut, self.is_cut)


def depth_mm(
    spec: PlanSpec, morning: Morning, site: PreparedSite, day: int, shape: tuple[int, ...]
) -> FloatArray:
    """What a plan's function wants, ``shape`` (runs, fields); FaultyInput unless it is a depth."""
    assert spec.function is not None
    try:
        answer = spec.function(morning)
    except Exception as error:  # whatever a person's function may raise
        raise FaultyInput(_raised(error, spec, morning, day_text(site, day))) from error
    try:
        depth = np.asarray(answer, float)
        if depth.shape != shape:
            depth = np.broadcast_to(depth, shape)
    except (TypeError, ValueError):
        shown = f"an array {answer.shape}" if isinstance(answer, np.ndarray) else f"{answer!r:.40}"
        what = f"its function returns {shown} on {day_text(site, day)}"
    else:
        right = (depth >= 0.0) & (depth < np.inf)
        if right.all():
            return depth
        run, field = np.argwhere(~right)[0]
        shown = "None" if answer is None else f"{depth[run, field]:g} mm"
        key = site.scenario.fields[field].key
        what = f"its function returns {shown} for field '{key}' on {day_text(site, day)}"
    allowed = f"a depth at the turf of 0 mm or more: a number, or an array {shape}"
    raise FaultyInput(Fault(f"plans.{spec.key}", what, allowed))


def _raised(error: Exception, spec: PlanSpec, morning: Morning, day: str) -> Fault:
    """What a plan's function did wrong on a day, and what to write instead."""
    where = f"plans.{spec.key}"
    if isinstance(error, AttributeError) and error.obj is morning:
        allowed = nearest(str(error.name), Morning._fields)
        return Fault(where, f"a morning has no '{error.name}'", allowed)
    if isinstance(error, ValueError) and "truth value of an array" in str(error):
        shape = morning.depletion.shape
        what = f"its function takes an array for one number on {day}"
        allowed = (
            f"np.where in place of if, and & and | in place of and and or: depletion and the "
            f"like are arrays {shape}"
        )
        return Fault(where, what, allowed)
    text = quoted(" ".join(str(error).split()), bare=True, most=200)
    return Fault(where, f"its function raises {type(error).__name__} on {day}: {text}")


def day_text(site: PreparedSite, day: int) -> str:
    """``07-15 of year 42``: a day of a stretch; without its year when that is not counted."""
    year, date = site.calendar.year[day], str(site.weather.record.dates[day])[-5:]
    return date if year < 0 else f"{date} of year {site.years[year]}"


MOST_NAMED = 3


def too_much_text(
    plans: Sequence[tuple[PlanSpec, NDArray[np.int64]]], fields: Sequence[FieldSpec], years: int
) -> str:
    """What to say of functions that left a demand unfinished; "" if none did.

    Each plan with the days (F,) of the counted ``years`` on which it did, by field. Those with most
    days are named.
    """
    plans = [(plan, days) for plan, days in plans if days.any()]
    if not plans:
        return ""
    plans.sort(key=lambda one: -int(one[1].max()))
    each = [
        f"'{plan.key}' on {n:,} days on field '{field.key}'"
        for plan, days in plans[:MOST_NAMED] for n, field in zip(days, fields, strict=True) if n
    ]  # fmt: skip
    n_more = len(plans) - MOST_NAMED
    more = f"; so {'does' if n_more == 1 else 'do'} {n_more} more" if n_more > 0 else ""
    return (
        "A plan's function demanded more than one watering can put on, and nothing on the next day "
        f"on which it might water: {', '.join(each)}, of {years:,} year{'' if years == 1 else 's'}"
        f"{more}. What is beyond the largest watering ('most' of the plan, else of the soil) waits "
        "for the next night on which the function demands it; what the night or the ground cannot "
        "take is counted as shortage. Leave it so, demand less at a time, or demand water wherever "
        "morning.unfinished_mm > 0."
    )
