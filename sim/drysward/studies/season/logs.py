"""The irrigation log: what was really put on each field, by date, from a CSV file.

Header: ``date,field`` and one or more of ``depth_mm``, ``depth_in`` and ``minutes``; a ``note`` may
stand beside them. Every row has one of the three. Depths are those that reach the turf, as a catch
test measures them; minutes count with the precipitation rate of the field. Rows of one day add up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from drysward.faults import path_text
from drysward.scenario.model import Scenario
from drysward.studies.season.tables import Cells, read_sheet

# Column -> mm of one, and the most in a row: no field takes more in a day (own estimate).
DEPTHS = {"depth_mm": (1.0, 150.0), "depth_in": (25.4, 6.0)}
MINUTES = "minutes"
MOST_MINUTES = 1440.0
_AMOUNTS = (*DEPTHS, MINUTES)

Applied = dict[str, dict[np.datetime64, float]]


@dataclass(frozen=True, eq=False)
class Log:
    """Depths (mm) and minutes by field and date, days of the season only.

    ``notes`` say which rows are outside of it. ``last`` is the last date of any row.
    """

    path: str
    depths_mm: Applied
    minutes: Applied
    notes: tuple[str, ...]
    last: np.datetime64 | None

    def between(self, first: np.datetime64, stop: np.datetime64) -> Log:
        """The log of the days from ``first`` to the one before ``stop``."""

        def some(of: Applied) -> Applied:
            return {
                key: {date: x for date, x in days.items() if first <= date < stop}
                for key, days in of.items()
            }

        return replace(self, depths_mm=some(self.depths_mm), minutes=some(self.minutes))

    def applied_mm(self, scenario: Scenario) -> Applied:
        """Depth that reached the turf (mm) by field and date.

        The precipitation rates of ``scenario`` make depths of minutes, so that every draw of a
        rate has its own.
        """
        out = {key: dict(days) for key, days in self.depths_mm.items()}
        for key, days in self.minutes.items():
            rate_mm_h = scenario.field_named(key).delivery.precipitation_rate_mm_h
            for date, minutes in days.items():
                out[key][date] = out[key].get(date, 0.0) + rate_mm_h * minutes / 60.0
        return out


def read_log(
    path: Path, scenario: Scenario, first: np.datetime64, today: np.datetime64
) -> Log:
    """The log in a file, for the fields of ``scenario``.

    Parameters
    ----------
    first : first day of the season that the log is for. today : the day after its last.

    FaultyInput with every fault: file, line, column and what is allowed.
    """
    sheet = read_sheet(path, ("date", "field"), (*_AMOUNTS, "note"), "an irrigation log (.csv)")
    if not set(_AMOUNTS) & set(sheet.header):
        head = Cells(sheet, 1, {})
        head.fault("depth_in", "is missing", f"one of {', '.join(_AMOUNTS)}")
    depths: Applied = {spec.key: {} for spec in scenario.fields}
    minutes: Applied = {spec.key: {} for spec in scenario.fields}
    outside: list[np.datetime64] = []
    last: np.datetime64 | None = None
    for row in sheet:
        date, key = row.date(), row.field_of(scenario)
        written = [name for name in _AMOUNTS if row[name]]
        if len(written) != 1:
            here = [name for name in _AMOUNTS if name in sheet.header]
            what = "no amount" if not written else f"amounts in {' and '.join(written)}"
            row.fault(here[0] if here else _AMOUNTS[0], what, f"one of {', '.join(here)}")
            continue
        name = written[0]
        per, most = DEPTHS.get(name, (1.0, MOST_MINUTES))
        amount = row.number(name, 0.0, most, name.removeprefix("depth_"))
        if date is None or key is None or amount is None:
            continue
        last = date if last is None else max(last, date)
        if not first <= date < today:
            outside.append(date)
            continue
        days = (minutes if name == MINUTES else depths)[key]
        days[date] = days.get(date, 0.0) + amount * per
    sheet.refuse()
    notes = []
    if outside:
        many = f"{len(outside)} rows" if len(outside) > 1 else "1 row"
        notes.append(
            f"{path_text(path)}: {many} from {min(outside)} to {max(outside)} "
            f"{'lie' if len(outside) > 1 else 'lies'} outside of {first} to {today - 1} and "
            f"{'do' if len(outside) > 1 else 'does'} not count"
        )
    return Log(path_text(path), depths, minutes, tuple(notes), last)
