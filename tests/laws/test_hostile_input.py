"""Files and texts that nobody writes by intent are refused at once, in a line or few."""

from __future__ import annotations

import math
import os
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, get_args, get_origin

import pytest
from pydantic import BaseModel, RootModel, TypeAdapter, ValidationError

from drysward import quantities
from drysward.catalog import load_catalog
from drysward.cli.arguments import open_scenario
from drysward.faults import Fault, FaultyInput, merged_alike, nearest, quoted
from drysward.inputs import DEEPEST, MOST_TOML_BYTES, toml_tables
from drysward.quantities import AREA, VOLUME, Kind, convert, parse
from drysward.scenario.load import load, loads, shipped_names
from drysward.scenario.schema import INVERSE_TENSION, ScenarioTable, latitude
from drysward.weather.file.read import read_weather

SHIPPED = Path(__file__).parents[2] / "scenarios"
DEMO = (SHIPPED / "demo.toml").read_text(encoding="utf-8")
AT_ONCE_S = 2.0


def told(read: Any) -> list[str]:
    """The lines of a refusal that comes at once."""
    began = time.process_time()
    with pytest.raises(FaultyInput) as caught:
        read()
    assert time.process_time() - began < AT_ONCE_S
    return [str(fault) for fault in caught.value.faults]


# --- texts of units ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    "unit",
    [
        "m**2**9**9**9", "m**2**2**2**2**2**2", "m**2/0", "m" * 100_000,
        "m squared squared squared", "9\u00b2\u00b2\u00b2\u00b2\u00b2\u00b2\u00b2",
        "9**9_99999999999", "(10**9)**9**9", "m**99",
        "__import__('os')", "(" * 50, "[" * 50, "m\0", "1e99**9*1e99**9*m**2",
    ],
)  # fmt: skip
def test_texts_that_are_not_units(unit: str) -> None:
    began = time.process_time()
    with pytest.raises(ValueError, match=r"^unit '.*; write area as") as caught:
        parse(f"2.0 {unit}", AREA)
    assert len(str(caught.value)) < 250
    assert time.process_time() - began < AT_ONCE_S


def test_units_that_people_write_are_read() -> None:
    for unit in ("square feet", "m**2", "m\u00b2", "ft * ft", "acre"):
        assert parse(f"2 {unit}", AREA) > 0.0
    assert convert(1.0, "kg/(m**2*s)", "kg/m**2/s") == 1.0
    assert convert(1.0, "MJ/m**2/d", "W/m**2") == pytest.approx(11.574, abs=0.001)


def test_a_number_too_large_for_its_unit() -> None:
    with pytest.raises(ValueError, match="the number of 'Mgal' is too large"):
        parse("1e308 Mgal", VOLUME)


# --- files ------------------------------------------------------------------------------------


@pytest.mark.parametrize("read", [load, read_weather], ids=["scenario", "weather"])
def test_what_is_no_plain_file(read: Any, tmp_path: Path) -> None:
    pipe, sock = tmp_path / "pipe.csv", tmp_path / "sock.csv"
    os.mkfifo(pipe)
    with socket.socket(socket.AF_UNIX) as held:
        held.bind(os.path.relpath(sock))
        assert "is a socket" in told(lambda: read(sock))[0]
    assert "is a pipe" in told(lambda: read(pipe))[0]
    assert "is a folder" in told(lambda: read(tmp_path))[0]
    assert "is a device" in told(lambda: read(Path("/dev/zero")))[0]
    assert "is not a valid file name" in told(lambda: read(Path("a\0b.csv")))[0]
    assert "cannot be read" in told(lambda: read(tmp_path / f"{'x' * 300}.csv"))[0]
    assert f"no such file in {tmp_path}; did you mean 'pipe.csv'?" in (
        told(lambda: read(tmp_path / "pipes.csv"))[0]
    )


def test_a_scenario_that_is_not_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (line,) = told(lambda: open_scenario("mine.toml"))
    assert line == (
        f"mine.toml: no such file in {tmp_path}; "
        f"scenarios that ship: {', '.join(shipped_names())}"
    )
    assert "did you mean 'demo'?" in told(lambda: open_scenario("demos"))[0]
    assert open_scenario("demo").title


def test_a_weather_file_of_a_scenario_that_no_file_can_be_called() -> None:
    from drysward.site.weather_years import read_record

    before, _, weather = DEMO.partition("[weather]")
    after = weather.partition("[weather.climate]")[2].partition("\n[")[2]
    text = f'{before}[weather]\nfile = "a\\u0000b.csv"\n[{after}'
    (line,) = told(lambda: read_record(loads(text, SHIPPED)))
    assert "is not a valid file name" in line


# --- TOML -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text, words",
    [
        ("a = " + "[" * 10_000 + "]" * 10_000, "too deep"),
        ("a = " + "{b = " * 300 + "1" + "}" * 300, "too deep"),
        ("a = " + "[" * 30 + "]" * 30, f"at most {DEEPEST}"),
        ("a = " + "9" * 500_000, "too many digits"),
        ("a = " + "9" * 4_200, "too many digits"),
        ("a = 0x" + "f" * 500_000, "too many digits"),
        (".".join("a" * 20_000) + " = 1", "has too many parts"),
        ("[" + " . ".join(["'a'"] * 20_000) + "]", "has too many parts"),
        ("\n".join(f"a{i} = 1" for i in range(60_000)), "too many values"),
        (f"{'k' * 5_000} = 1", "too long for a key"),
        (f"a = '{'x' * 500_000}'", "(500,000 characters) is too long"),
        ("a" * (MOST_TOML_BYTES + 1), "at most 1,000,000"),
    ],
)  # fmt: skip
def test_toml_beyond_the_limits(text: str, words: str) -> None:
    (line,) = told(lambda: toml_tables("case", text))
    assert words in line
    assert len(line) < 250


def test_many_faults_are_reported_in_few_lines() -> None:
    fields = "\n".join(f'[fields.f{i}]\narea = "1 acre"\nno = 1' for i in range(150))
    lines = told(lambda: loads(DEMO + fields, SHIPPED))
    (line,) = (line for line in lines if "fields.f0.no, fields.f1.no, " in line)
    assert "and 140 more: are not known here" in line
    many = "\n".join(f"nothing{i} = 1" for i in range(5_000))
    lines = told(lambda: loads(f"{many}\n{DEMO}", SHIPPED))
    assert len(lines) == 101
    assert lines[-1] == "scenario: and 4,900 more faults"


def test_faults_alike_are_one_line() -> None:
    def fault(key: str, what: str = "is missing") -> Fault:
        return Fault(f"a.toml: {key}", what)

    told_once = merged_alike(
        [fault("fields.a.area"), fault("site.name"), fault("fields.b.area"), fault("fields.b.play")]
    )
    assert [one.where for one in told_once] == [
        "a.toml: fields.a.area, fields.b.area", "a.toml: site.name", "a.toml: fields.b.play",
    ]  # fmt: skip


# --- what is shown of input -------------------------------------------------------------------


def test_long_input_is_cut_and_marked(tmp_path: Path) -> None:
    assert quoted("abc") == "'abc'"
    assert quoted("x" * 40_000) == f"'{'x' * 60}...' (40,000 characters)"
    assert len(quoted({"a": ["x" * 9_000] * 9_000})) < 200
    assert len(nearest("x" * 9_000, [f"{i}" * 50 for i in range(900)])) < 4_000
    cell = tmp_path / "cell.csv"
    cell.write_text(f"date,rain_mm,tmax_c,tmin_c\n2013-01-01,{'7' * 40_000}x,1,0\n")
    assert "777...' (40,001 characters) is not a number" in told(lambda: read_weather(cell))[0]
    wide = tmp_path / "wide.csv"
    wide.write_text(",".join(f"c{i}" for i in range(200_000)) + "\n")
    assert "200,000 columns" in told(lambda: read_weather(wide))[0]
    head = tmp_path / "head.csv"
    head.write_text(f"date,rain_mm,tmax_c,tmin_c,a{' ' * 90_000}b\n2013-01-01,1,1,0,1\n")
    assert all(len(line) < 1_500 for line in told(lambda: read_weather(head)))


# --- latitude ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "written, form",
    [
        ("39.2", 'latitude = "39.2 deg"'),
        ('"39\u00b012\'"', 'latitude = "39.2 deg"'),
        ('"39 12 30 s"', 'latitude = "39.2083 deg"'),
        ('"76.6 W"', "'76.6 W' is a longitude"),
        ('"39.2 W"', "'39.2 W' is a longitude"),
        ('"-39.2 S"', "is not a latitude"),
        ('"39 75 N"', "is not a latitude"),
        ('"39.5 12 N"', "is not a latitude"),
        ('"91 N"', "-90 to 90"),
        ('"north"', '"39.2 deg"'),
    ],
)
def test_latitudes_that_are_refused(written: str, form: str) -> None:
    text = DEMO.replace(DEMO.split("latitude = ")[1].split("\n")[0], written)
    (line,) = told(lambda: loads(text, SHIPPED))
    assert line.startswith("scenario: site.latitude: ")
    assert form in line


@pytest.mark.parametrize(
    "written, degrees",
    [
        ("39.2 deg", 39.2), ("39.2 N", 39.2), ("n 39.2", 39.2), ("39 12 N", 39.2),
        ("39\u00b012' N", 39.2), ("33\u00b0 30' 36\u2033 S", -33.51), ("33.9S", -33.9),
        ("-33.9 deg", -33.9),
    ],
)  # fmt: skip
def test_latitudes_as_people_write_them(written: str, degrees: float) -> None:
    assert latitude(written) == pytest.approx(degrees, abs=1e-9)


# --- limits -----------------------------------------------------------------------------------


def test_no_quantity_of_the_vocabulary_is_unbounded() -> None:
    catalog = load_catalog()
    for terms in (
        catalog.quantities, catalog.derived, catalog.meanings, catalog.scenario_terms,
        catalog.kinds,
    ):  # fmt: skip
        for term in terms.values():
            assert math.isfinite(term.low), term.key
            assert math.isfinite(term.high), term.key
            assert term.low < term.high, term.key


def test_every_kind_of_quantity_has_limits() -> None:
    kinds = [one for one in vars(quantities).values() if isinstance(one, Kind)]
    known = load_catalog().kinds
    assert {kind.name: kind.base for kind in (*kinds, INVERSE_TENSION)} == {
        name: term.units for name, term in known.items()
    }


# What a table checks as a whole, or the normals of a climate.
CHECKED_AS_A_WHOLE = {"doubt.draws"}
ANY_NUMBER = {"weather.seed"}
_HUGE = [
    1e300, -1e300, 10**17, -(10**17),
    *(
        f"{number} {unit}"
        for number in ("1e300", "-1e300")
        for kind in (*(one for one in vars(quantities).values() if isinstance(one, Kind)),
                     INVERSE_TENSION)
        for unit in kind.examples
    ),
    "1e300 per gal", "1e300 per ft2",
]  # fmt: skip


def numbers_of(model: type[BaseModel], above: str = "") -> Iterator[tuple[str, Any]]:
    """Every key of a scenario that holds a number, and its annotation."""
    for name, about in model.model_fields.items():
        key = f"{above}{about.alias or name}"
        annotated: Any = about.annotation
        for one in about.metadata:
            annotated = Annotated[annotated, one]
        yield from _numbers_within(key, annotated)


def _numbers_within(key: str, annotated: Any) -> Iterator[tuple[str, Any]]:
    tables = list(_tables(annotated))
    for table in tables:
        if not issubclass(table, RootModel):
            yield from numbers_of(table, f"{key}.")
    if not tables and _holds_number(annotated):
        yield key, annotated


def _tables(annotated: Any) -> Iterator[type[BaseModel]]:
    if isinstance(annotated, type) and issubclass(annotated, BaseModel):
        yield annotated
    for part in get_args(annotated) if get_origin(annotated) is not None else ():
        yield from _tables(part)


def _holds_number(annotated: Any) -> bool:
    if annotated in (int, float):
        return True
    return any(_holds_number(part) for part in get_args(annotated))


NUMBERS = dict(numbers_of(ScenarioTable))


def test_the_walk_finds_the_numbers_of_a_scenario() -> None:
    assert {
        "site.latitude", "site.supply", "fields.area", "fields.root_zone.depth",
        "fields.delivery.flow", "plans.most", "plans.trigger", "supply.storage.capacity",
        "supply.sources.allowance.year", "costs.pond", "costs.energy", "weather.years",
        "weather.climate.rain", "sizing.points", "answers.return_periods",
    } <= set(NUMBERS)  # fmt: skip
    assert len(NUMBERS) > 120


@pytest.mark.parametrize("key", sorted(set(NUMBERS) - CHECKED_AS_A_WHOLE - ANY_NUMBER))
def test_every_number_of_a_scenario_passes_a_limit(key: str) -> None:
    """Whatever unit it is written in, alone or in a list or table, a huge number is refused."""
    adapter = TypeAdapter(NUMBERS[key], config={"strict": True})
    for huge in _HUGE:
        written = [huge, [huge] * 12, {"Jan": huge}, {"May": huge}, {"Tue": huge}, {"a": huge}]
        number, _, unit = f"{huge}".partition(" ")
        if unit:
            many = {"unit": unit, "months": [float(number)] * 12}
            written += [many, {"unit": unit, "values": [0.0, float(number)]}]
        for value in written:
            with pytest.raises(ValidationError):
                adapter.validate_python(value)


def test_draws_and_sizes_pass_a_limit() -> None:
    (line,) = told(lambda: loads(f"{DEMO}\n[doubt]\ndraws = 100000000000000000", SHIPPED))
    assert "doubt.draws" in line
    pond = (SHIPPED / "pond.toml").read_text(encoding="utf-8")
    head, _, _ = pond.partition("[sizing")
    sized = '{ what = "storage", high = "1e300 gal" }'
    text = f"{head}\n[sizing]\nplan = '{load(SHIPPED / 'pond.toml').plans[0].key}'\nfind = {sized}"
    assert "sizing.find.high: '1e300 gal' is out of range" in told(lambda: loads(text, SHIPPED))[0]


def test_an_absurd_area_is_refused_in_plain_numbers() -> None:
    area = DEMO.split("area = ")[1].split("\n")[0]
    (line, *_) = told(lambda: loads(DEMO.replace(area, '"1e300 acre"'), SHIPPED))
    assert "'1e300 acre' is out of range; 0.000248 to 2,471 acre" in line
    (line, *_) = told(lambda: loads(DEMO.replace(area, '"1 ft2"'), SHIPPED))
    assert "'1 ft2' is out of range; 10.77 to 107,600,000 ft2" in line


# --- what people write that is not TOML, and words in place of tables and lists ----------------


@pytest.mark.parametrize(
    ("line", "mend"),
    [
        ("title = 2 fields", 'title = "2 fields"'), ("title = Fields", 'title = "Fields"'),
        ("title = Our fields   # two", 'title = "Our fields"'), ('title = "Ours', 'title = "Ours"'),
        ("title = \u201cOurs\u201d", 'title = "Ours"'), ("title = 0,4", "title = 0.4"),
        ("title = 40%", 'title = "40%"'),
    ],
)  # fmt: skip
def test_lines_that_are_not_toml_are_refused_with_the_line(line: str, mend: str) -> None:
    (fault,) = told(lambda: toml_tables("a.toml", f"x = 1\n{line}\ny = 2\n"))
    assert fault.startswith("a.toml line 2, ")
    assert fault.endswith(mend)
    toml_tables("a.toml", f"x = 1\n{mend}\ny = 2\n")


def test_a_line_that_could_mean_anything_is_refused_without_one() -> None:
    (fault,) = told(lambda: toml_tables("a.toml", "x = [1, 2\ny == 3\n"))
    assert "; write" not in fault


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('days = ["Tue", "Fri"]', 'days = "Tue, Fri"', 'write days = ["Tue", "Fri"]'),
        ('season = { from = "04-01", to = "10-31" }', 'season = "summer"',
         "a table such as { from = ..., to = ... }"),
        ('depth = "0.5 in"\n', "depth = 0.5\n", 'write "0.5 in"'),
    ],
)  # fmt: skip
def test_words_in_place_of_lists_and_tables(old: str, new: str, words: str) -> None:
    assert old in DEMO
    assert words in told(lambda: loads(DEMO.replace(old, new), SHIPPED))[0]


def test_weekdays_may_be_written_in_full() -> None:
    written = DEMO.replace('days = ["Tue", "Fri"]', 'days = ["Tuesday", "fri"]')
    assert written != DEMO
    assert loads(written, SHIPPED).plans == loads(DEMO, SHIPPED).plans
    wrong = DEMO.replace('days = ["Tue", "Fri"]', 'days = ["Tuessday"]')
    assert "known: Fri, Mon" in told(lambda: loads(wrong, SHIPPED))[0]
