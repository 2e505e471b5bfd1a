"""Plans whose rule is a function in Python: what it knows each morning, and days run one by one."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from drysward.day.lanes import LANES, PLACE, SIZE, Spread
from drysward.day.loop import Batch, DayInput
from drysward.day.plan_demand import WEEK_DEPTH
from drysward.day.records import WEEK
from drysward.day.supply import SupplyState
from drysward.faults import Fault, FaultyInput
from drysward.physics.arithmetic import within
from drysward.scenario.model import FieldSpec, PlanSpec
from drysward.site.stretches import PreparedSite

FloatArray = NDArray[np.float64]

LAST_DAYS = 7


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
    depletion : Share of the available water of the root zone that is gone, 0 to 1 and beyond.
    deficit_mm : Water to field capacity of the root zone, mm.
    available_mm : Available water of the root zone between field capacity and wilting point,
        mm.
    used_mm : Turf water use less rain since it was last watered, no more than the deficit, mm.
    days_since_water : Days since the last watering, 1 for yesterday.
    unfinished_mm : What is still to come of the last demand, at the pipes, mm.
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
    asked_too_much: NDArray[np.int64],
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
    asked_too_much: NDArray[np.int64],
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
    asked_too_much : (runs, fields), to which the counted days are added on which a function asks
        for more than one watering puts on.
    rest : what else ``run_windows`` takes, from ``supply`` on.

    FaultyInput when a function gives what is no depth.
    """
    supply_states = rest[2]
    functions = _Functions(specs, spread, batch, supply_states, asked_too_much)
    nothing = site.forcing._replace(turfs=site.forcing.turfs[:0].view(np.recarray))
    n_days, n_lines = day_input.calendar.shape[0], day_input.days.shape[0]
    for first in range(0, n_days, n_lines):
        stop = min(first + n_lines, n_days)
        if site.forcing.turfs.shape[0]:
            kernel(site.forcing, day_input, stop, first, stop, batch, *rest)
        for day, end in functions.spans(day_input, max(first, site.from_day), stop):
            if functions.are_called_on(day_input.calendar[day].day_of_year):
                functions.call(site, day_input, day)
            kernel(nothing, day_input, day, first, end, batch, *rest)


class _Functions:
    """The functions of some runs, with where in the lanes they read and write."""

    def __init__(
        self, specs: Sequence[PlanSpec], spread: Spread, batch: Batch, supply: SupplyState,
        asked_too_much: NDArray[np.int64],
    ) -> None:  # fmt: skip
        self.batch, self.supply, self.asked_too_much = batch, supply, asked_too_much
        n_lanes = spread.n_runs * spread.n_fields
        lanes = spread.by_run(np.arange(spread.n_blocks * LANES).reshape(-1, LANES))
        assert lanes.size == n_lanes
        block, lane = np.divmod(lanes, LANES)
        places = np.array([PLACE[name] for name in _SEEN.values()])
        seen = block * SIZE + lane + places[:, None, None]
        depth = block * (WEEK * 3 * LANES) + WEEK_DEPTH * LANES + lane
        # Runs of one function go through it together.
        self.each: list[tuple[PlanSpec, NDArray[np.int64], NDArray[np.int64]]] = []
        self.runs: list[NDArray[np.int64]] = []
        together: dict[int, list[int]] = {}
        for b, spec in enumerate(specs):
            if spec.function is not None:
                together.setdefault(id(spec.function), []).append(b)
        for runs in map(np.array, together.values()):
            self.each.append((specs[runs[0]], seen[:, runs], depth[runs]))
            self.runs.append(runs)
        self.seasons = [spec.season for spec in specs if spec.function is not None]

    def are_called_on(self, day_of_year: int) -> bool:
        """Whether any of their plans may water."""
        return any(within(day_of_year, *season) for season in self.seasons)

    def spans(self, day_input: DayInput, first: int, stop: int) -> Iterator[tuple[int, int]]:
        """Days to run in one go: each day alone with a function to call."""
        day = first
        while day < stop:
            end = day + 1
            while end < stop and not self.are_called_on(day_input.calendar[end].day_of_year):
                end += 1
            yield day, end
            day = end

    def call(self, site: PreparedSite, day_input: DayInput, day: int) -> None:
        """Write what each function wants today into the weekly tables of its runs."""
        calendar, weather = day_input.calendar[day], site.weather
        weekday = int(calendar.weekday)
        blocks, weekly = self.batch.blocks.reshape(-1), self.batch.weekly.reshape(-1)
        last = slice(max(day - LAST_DAYS, 0), day)
        rain, et = np.zeros(LAST_DAYS), np.zeros(LAST_DAYS)
        n = last.stop - last.start
        rain[:n] = weather.record.rain_mm[last][::-1]
        et[:n] = weather.et.eto_mm[last][::-1]
        for (spec, seen, depth), runs in zip(self.each, self.runs, strict=True):
            known = dict(zip(_SEEN, blocks[seen], strict=True))
            store = self.supply.storage[runs, 0]
            shape = depth.shape
            stage = np.maximum(known.pop("restriction_stage"), store["stage"][:, None])
            morning = Morning(
                day_of_year=int(calendar.day_of_year) + 1,
                month=int(calendar.month) + 1,
                weekday=weekday,
                restriction_stage=stage,
                storage_m3=np.broadcast_to(store["volume"][:, None], shape).copy(),
                drought_index_mm=float(day_input.drought_index[day]),
                rain_mm=rain,
                reference_et_mm=et,
                **known,
            )
            assert spec.function is not None
            asked_mm = depth_mm(spec, morning, site, day, shape)
            weekly[depth + weekday * (3 * LANES)] = asked_mm
            if calendar.year >= 0:
                self.asked_too_much[runs] += self.is_too_much(
                    runs, asked_mm, calendar, day_input.spray_loss[:, day],
                    morning.days_since_water,
                )  # fmt: skip

    def is_too_much(
        self, runs: NDArray[np.int64], asked_mm: FloatArray, calendar: Any, loss: FloatArray,
        days_since_water: FloatArray,
    ) -> NDArray[np.bool_]:  # fmt: skip
        """Where (runs, fields) more is asked for than one watering puts on, on a day on which the
        plan may water. ``loss`` (times of day,) is the share lost in flight.
        """
        plans = self.batch.plans[runs]
        arrives = (1.0 - loss[plans.time_of_day.astype(int)]) * (
            1.0 - self.batch.delivery.overspray[runs]
        )
        most_mm = np.minimum(plans.most_depth, plans.ground_takes)
        most_mm = np.minimum(most_mm, plans.night_depth * arrives)
        may = plans.allowed[..., calendar.weekday] > 0.0
        may &= days_since_water >= plans.interval
        for place, season in enumerate(zip(plans.first_day, plans.last_day, strict=True)):
            may[place] &= within(calendar.day_of_year, season[0][0], season[1][0])
        asked_mm = asked_mm * plans.adjust[..., calendar.month]
        return may & (asked_mm > most_mm * (1.0 + 1e-9))


def depth_mm(
    spec: PlanSpec, morning: Morning, site: PreparedSite, day: int, shape: tuple[int, ...]
) -> FloatArray:
    """What a plan's function wants, ``shape`` (runs, fields); FaultyInput unless it is a depth."""
    assert spec.function is not None
    answer = spec.function(morning)
    try:
        depth = np.broadcast_to(np.asarray(answer, float), shape)
    except (TypeError, ValueError):
        shown = f"an array {answer.shape}" if isinstance(answer, np.ndarray) else f"{answer!r:.40}"
        what = f"its function returns {shown} on {day_text(site, day)}"
    else:
        wrong = ~((depth >= 0.0) & (depth < np.inf))
        if not wrong.any():
            return depth
        run, field = np.argwhere(wrong)[0]
        shown = "None" if answer is None else f"{depth[run, field]:g} mm"
        key = site.scenario.fields[field].key
        what = f"its function returns {shown} for field '{key}' on {day_text(site, day)}"
    allowed = f"a depth at the turf of 0 mm or more: a number, or an array {shape}"
    raise FaultyInput(Fault(f"plans.{spec.key}", what, allowed))


def day_text(site: PreparedSite, day: int) -> str:
    """``07-15 of year 42``: a day of a stretch; without its year when that is not counted."""
    year, date = site.calendar.year[day], str(site.weather.record.dates[day])[-5:]
    return date if year < 0 else f"{date} of year {site.years[year]}"


def too_much_text(spec: PlanSpec, fields: Sequence[FieldSpec], days: NDArray[np.int64]) -> str:
    """What to say of a function that asked for more than one watering puts on; "" if it never did.

    ``days`` (F,): counted days on which it did, by field.
    """
    each = [
        f"on {n:,} days on field '{field.key}'"
        for n, field in zip(days, fields, strict=True) if n
    ]  # fmt: skip
    if not each:
        return ""
    return (
        f"plans.{spec.key}: its function asks for more than one watering can put on "
        f"{', '.join(each)}. What is beyond the largest watering of the plan or the soil is left "
        "for the next nights if the function asks for it again (morning.unfinished_mm). What the "
        "night or the ground cannot take is counted as shortage. 'drysward check' shows the "
        "largest watering of each plan"
    )
