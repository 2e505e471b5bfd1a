"""Ways on: daily weather from today to the end of the season, each one that may come.

The past years of a record are the ways on of Twedt, Schaake & Peck (1977) and Day (1985, J. Water
Resour. Plann. Manage. 111:157; from memory): every year's weather from today's date on is one
equally likely way. Simulated years may take their place. Weights, which make some ways likelier,
are put on the finished ways and leave their weather as it is (Werner and others 2004, J.
Hydrometeorology 5:1076; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward.faults import Fault, FaultyInput
from drysward.results.ahead import effective_number
from drysward.weather.record import DailyRecord

FloatArray = NDArray[np.float64]
_YEAR = np.timedelta64(12, "M")

# Our choices: fewer ways give odds too coarse to use, no year may decide alone, and what an outlook
# says counts half until its skill at the site is known.
FEWEST_EFFECTIVE = 10.0
MOST_OF_ONE = 0.2
TRUST = 0.5
TERCILES = ("dry", "normal", "wet")


@dataclass(frozen=True, eq=False)
class Way:
    """Weather that may come: ``days`` from today on, at the dates of this season.

    ``name`` says where it is from, ``year`` is the calendar year (or the number of the simulated
    year) that it begins in.
    """

    name: str
    year: int
    days: DailyRecord


def same_days_of_year(
    dates: NDArray[np.datetime64], years_back: int
) -> NDArray[np.datetime64]:
    """The dates (n,) so many years earlier; 29 February is 28 February where there is none."""
    months = dates.astype("datetime64[M]")
    day = (dates - months.astype("datetime64[D]")).astype(int)
    then = months - years_back * _YEAR
    last = ((then + 1).astype("datetime64[D]") - then.astype("datetime64[D]")).astype(int) - 1
    moved: NDArray[np.datetime64] = then.astype("datetime64[D]") + np.minimum(day, last)
    return moved


def ways_of_record(
    record: DailyRecord,
    today: np.datetime64,
    last: np.datetime64,
    names: str = "{year}",
    before: int = 0,
    years: Sequence[int] | None = None,
) -> list[Way]:
    """The weather of every other year of ``record`` on the days from ``today`` to ``last``.

    Parameters
    ----------
    names : what a way is called, with its ``{year}``.
    before : years before year 1 of the record's numbers, 0 where they are calendar years.
    years : calendar years of the record in which a way may begin; all but today's when None.
    """
    dates = np.arange(today, last + 1)
    this_year = int(today.astype("datetime64[Y]").astype(int)) + 1970
    out = []
    for year in record.years() if years is None else years:
        then = same_days_of_year(dates, this_year - year)
        first = int((then[0] - record.dates[0]).astype(int))
        places = (then - record.dates[0]).astype(int)
        if (year == this_year and years is None) or first < 0 or places[-1] >= record.n_days:
            continue
        out.append(Way(names.format(year=year - before), year - before, at(record, places, dates)))
    return out


def at(
    record: DailyRecord, places: NDArray[np.int64], dates: NDArray[np.datetime64]
) -> DailyRecord:
    """The days of ``record`` at ``places`` (n,), as the days ``dates`` (n,)."""
    picked: dict[str, Any] = {name: values[places] for name, values in record.columns().items()}
    return replace(record, dates=dates, **picked)


def weights(
    ways: Sequence[Way],
    outlook: Sequence[float] | None = None,
    first_year: int | None = None,
    trust: float = TRUST,
) -> FloatArray:
    """How likely each way is, (W,), together 1; all alike when nothing is stated.

    Parameters
    ----------
    outlook : chances that the rain of the days ahead falls into the dry, the normal and the wet
        third of the ways, as seasonal outlooks state them, together 1.
    first_year : ways of earlier years have weight 0, where old years are too cool for today.
    trust : how far the outlook counts, 0 (not at all) to 1 (as it stands).

    Each way of a third has its chance over the number of its ways, and the weights are shrunk by
    ``trust`` to equal ones; no way has more than MOST_OF_ONE. FaultyInput when the chances do not
    add up to 1, or when the weights are worth fewer than FEWEST_EFFECTIVE equal ways.
    """
    years = np.array([way.year for way in ways])
    base = np.ones(years.size) if first_year is None else (years >= first_year).astype(float)
    if outlook is None and base.all():
        return base / base.size
    if not base.any():
        what = f"no way begins in {first_year} or later"
        raise FaultyInput(Fault("first_year", what, f"a year from {years.min()} to {years.max()}"))
    out = base / base.sum()
    if outlook is not None:
        kept = base > 0.0
        rain = np.array([way.days.rain_mm.sum() for way in ways])
        out[kept] = (1.0 - trust) * out[kept] + trust * tercile_weights(rain[kept], outlook)
    out = _capped(out, MOST_OF_ONE)
    effective = effective_number(out)
    if effective < FEWEST_EFFECTIVE:
        what = f"the {years.size} ways are worth only {effective:.1f} equal ones"
        allowed = f"at least {FEWEST_EFFECTIVE:g}: an earlier first_year, a milder outlook, "
        raise FaultyInput(Fault("weights", what, allowed + "or a longer weather file"))
    return out


def tercile_weights(rain_mm: FloatArray, outlook: Sequence[float]) -> FloatArray:
    """Weights (W,) of ways with so much rain under an outlook for the dry, normal and wet third.

    FaultyInput unless the outlook is three chances that add up to 1.
    """
    chances = np.asarray(outlook, float)
    if chances.shape != (3,) or not np.all(chances >= 0.0) or abs(chances.sum() - 1.0) > 0.011:
        what = f"chances {', '.join(f'{p:g}' for p in chances.ravel()[:5])}"
        names = ", ".join(TERCILES)
        allowed = f"three chances that add up to 1, such as 0.4, 0.35, 0.25 for {names}"
        raise FaultyInput(Fault("outlook", what, allowed))
    n = rain_mm.size
    rank = np.empty(n, np.int64)
    rank[np.argsort(rain_mm, kind="stable")] = np.arange(n)
    third = 3 * rank // n
    # A third without ways, of one or two, gives its chance to the others.
    out = (chances / np.maximum(np.bincount(third, minlength=3), 1))[third]
    return out / out.sum()


def _capped(shares: FloatArray, most: float) -> FloatArray:
    """Weights (W,) of at most ``most``; what is cut goes to the others in proportion."""
    out = shares.copy()
    over = np.zeros(out.size, bool)
    while (out > most * (1.0 + 1e-12)).any() and most * (out > 0.0).sum() >= 1.0:
        over |= out > most
        out[over] = most
        out[~over] *= (1.0 - most * over.sum()) / out[~over].sum()
    return out
