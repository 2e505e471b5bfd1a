"""What ``drysward fit readings`` prints. Nothing is computed here but a choice of units."""

from __future__ import annotations

import numpy as np

from drysward.faults import listed
from drysward.results.text import count_text
from drysward.scenario.model import SKINNED, Scenario
from drysward.screen.document import Heading, Part, Row, Table, notes, number, words
from drysward.studies.fitting.fit import LEAST_NARROWED, STORAGE, Fitted, Reproduced

_LEAST_COUNTED = 0.5  # a reading that counts less than half is named
_FEW_FAR = 2  # more of one kind are no slips of reading
_NEXT_SHOWN = 4
_WORTH_SAYING = 0.02  # a smaller fall of today's spread is none
_PERCENT = ("moisture", "wilt", "footprinting", "green cover", "uniformity", "field capacity",
            "wilting point", "pond level")  # fmt: skip
_UNITS = {"hardness": "g", "rooting depth": "mm", "precipitation rate": "mm/h", "ndvi": "",
          "quality": "points"}  # fmt: skip


def what_readings_say(fitted: Fitted, scenario: Scenario) -> list[Part]:
    """Sentences first: today, what was learned, what was not, what to measure next."""
    n = len(fitted.readings)
    parts: list[Part] = [
        Heading(f"{scenario.title}: {count_text(n, 'reading')} to {fitted.date}"),
        *fitted.notes,
        *_sentences(fitted),
        _before_and_after(fitted),
        _today(fitted, scenario),
        _kinds("reproduced", "How well the readings come out", fitted.reproduced),
    ]
    if fitted.held_out:
        title = "How well the last third is foretold by the others"
        parts.append(_kinds("held_out", title, fitted.held_out))
    parts.append(_next(fitted))
    parts.append(
        notes([
            ("before, after", "median, and 5 to 95% in brackets: 9 in 10 draws lie between"),
            ("offset, gain", "a probe shows offset + gain x water by volume; --out keeps both"),
            ("narrower", "fall of the spread; in brackets what exact theory of lines expects"),
            ("inside", "share of readings in the middle 50% and 90% of what was expected"),
            ("off", "readings less what was expected: mean, and root mean square"),
        ])
    )
    return parts


def _sentences(fitted: Fitted) -> list[Part]:
    learned = [row for row in fitted.rows if row.fall >= LEAST_NARROWED]
    out: list[Part] = []
    if learned:
        best = max(learned, key=lambda row: row.fall)
        out.append(
            f"The readings narrow {count_text(len(learned), 'number')}, most of all {best.name}: "
            f"its spread falls by {best.fall:.0%}."
        )
    else:
        out.append("The readings narrow no number by a tenth. More dates in dry spells would.")
    if hardly := fitted.hardly_narrowed:
        what = listed(hardly) if len(hardly) == 1 else f"{len(hardly)} others of the table below"
        out.append(f"They hardly narrow {what}: by less than a tenth.")
    if fitted.not_fitted:
        out.append(
            f"{count_text(len(fitted.not_fitted), 'other number')} hardly touched by these "
            "readings stay as uncertain as they were; what they could do counts as error."
        )
    for one, other, together in fitted.confounded:
        way = "more of one with more" if together > 0.0 else "more of one with less"
        out.append(
            f"{one} and {other} stand for one another in these readings: {way} of the other fits "
            "too."
        )
    out += _far_off(fitted)
    return out


def _far_off(fitted: Fitted) -> list[Part]:
    """Readings that count little, by line; in one sentence where they are most of their kind."""
    far: dict[str, list[int]] = {}
    for i, counted in enumerate(fitted.counted):
        if counted < _LEAST_COUNTED:
            far.setdefault(fitted.readings.each[i].kind, []).append(i)
    out: list[Part] = []
    for kind, places in far.items():
        n = sum(one.kind == kind for one in fitted.readings.each[: fitted.counted.size])
        if len(places) > max(_FEW_FAR, n / 2):
            out.append(
                f"{len(places)} of {n} readings of {kind} lie far from what the scenario makes "
                "likely, and count less than half. Check the scenario and the log first."
            )
            continue
        for i in places:
            read = fitted.readings.each[i]
            out.append(
                f"Line {read.line} ({read.date}, {read.kind}) lies far from the others and counts "
                f"{fitted.counted[i]:.0%}. Was it read right?"
            )
    return out


def _three(values: tuple[float, float, float]) -> str:
    low, median, high = (f"{x:.3g}" for x in values)
    return f"{median} ({low} to {high})"


def _before_and_after(fitted: Fitted) -> Table:
    rows: list[Row] = [
        {
            "number": f"{row.name}, {row.unit}" if row.unit else row.name, "key": row.key,
            "before": _three(row.before),
            "after": _three(row.after),
            "narrower": f"{row.fall:.0%} ({row.expected:.0%})",
        }
        for row in sorted(fitted.rows, key=lambda row: -row.fall)
    ]
    columns = [words("number", "number"), words("key", "key"), words("before", "before"),
               words("after", "after"), words("narrower", "narrower")]  # fmt: skip
    cells = [column for column in columns if column.key != "key"]
    return Table("numbers", "Numbers before and after", columns, rows, cells, ("number",))


def _today(fitted: Fitted, scenario: Scenario) -> Table:
    states = [
        (spec.key, name, f)
        for f, spec in enumerate(scenario.fields)
        for name in ("depletion", *(("green", "wilt") if spec.surface != SKINNED else ()))
    ]
    if STORAGE in fitted.today:
        states.append(("whole site", STORAGE, 0))
    rows: list[Row] = []
    for key, name, f in states:
        before, after = (
            np.quantile(of[name][:, f], [0.05, 0.5, 0.95]) * 100.0
            for of in (fitted.today_before, fitted.today)
        )
        rows.append(
            {"field": key, "state": name,
             **{f"{when}_{i}": float(x) for when, of in (("before", before), ("after", after))
                for i, x in enumerate(of)}}
        )  # fmt: skip
    heads = ("5%", "median", "95%")
    columns = [words("field", "field", whole=True), words("state", "state")]
    columns += [number(f"{when}_{i}", f"{when} {head}", "%")
                for when in ("before", "after") for i, head in enumerate(heads)]  # fmt: skip
    title = f"The fields on the evening of {fitted.date}"
    return Table("today", title, columns, rows, None, ("field",))


def _kinds(key: str, title: str, of: tuple[Reproduced, ...]) -> Table:
    rows: list[Row] = []
    for one in of:
        times = 100.0 if one.kind in _PERCENT else 1.0
        rows.append({
            "kind": one.kind, "n": one.n, "unit": _UNITS.get(one.kind, "%"),
            "bias": one.bias * times, "rms": one.rms * times,
            "inside_50": one.inside_50 * 100.0, "inside_90": one.inside_90 * 100.0,
        })  # fmt: skip
    columns = [
        words("kind", "kind"), number("n", "readings"), words("unit", "unit"),
        number("bias", "off, mean", decimals=1), number("rms", "off, rms", decimals=1),
        number("inside_50", "inside 50%", "%"), number("inside_90", "inside 90%", "%"),
    ]  # fmt: skip
    return Table(key, title, columns, rows, None, ("kind",))


def _next(fitted: Fitted) -> Table | str:
    worth = [one for one in fitted.next if one.fall >= _WORTH_SAYING][:_NEXT_SHOWN]
    if not worth:
        return "No single reading more would narrow today's depletion by 2%."
    rows: list[Row] = [
        {"field": one.field, "what": one.what, "fall": one.fall * 100.0} for one in worth
    ]
    columns = [words("field", "field", whole=True), words("what", "what"),
               number("fall", "narrows today's depletion by", "%")]  # fmt: skip
    return Table("next", "What to measure next", columns, rows, None, ("field",))
