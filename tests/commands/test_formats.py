"""Text at every width, and JSON, CSV and Markdown read back, of the commands that print tables."""

from __future__ import annotations

import csv
import fcntl
import io
import json
import math
import os
import pty
import re
import struct
import subprocess
import sys
import termios
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import drysward
from drysward.cli import main
from drysward.screen.compare import Comparison, detail, months, overview
from drysward.screen.document import Cell, Part, Table, number, words
from drysward.screen.formats import FORMATS, as_csv, as_json, as_markdown, as_text
from drysward.screen.layout import text_lines

WIDTHS = (60, 80, 100, 120, 200)
YEARS = (1, 20)
DATA = Path(__file__).parents[1] / "data"
SWEEP = """
title = "Two triggers"
scenario = "demo"
plans = ["refill"]
years = 3
[axes.trigger]
key = "plans.refill.trigger"
values = [0.3, 0.6]
[axes.depth]
key = "fields.stadium.root_zone.depth"
values = ["10 in", "12 in"]
[search]
plan = "refill"
field = "practice"
days_below = 60
tries = 10
"""


def ask(*words: object) -> Result:
    done = CliRunner().invoke(main, [str(word) for word in words])
    assert done.exit_code == 0, done.output
    return done


def compared(name: str, draws: int) -> Comparison:
    scenario = drysward.shipped(name)
    run = drysward.run(scenario, years=YEARS)
    drawn = drysward.draws(scenario, n=draws, years=YEARS) if draws else None
    summary = drysward.summarize(run, scenario, draws=drawn)
    return Comparison(summary, drawn)


@pytest.fixture(scope="module")
def demo() -> Comparison:
    return compared("demo", 2)


@pytest.fixture(scope="module")
def three_fields() -> Comparison:
    return compared("pond", 0)


@pytest.fixture(scope="module")
def swept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sweep")
    (folder / "mine.toml").write_text(SWEEP)
    ask("sweep", folder / "mine.toml", "--out", folder / "out")
    return folder


def commands(swept: Path) -> dict[str, tuple[object, ...]]:
    """Every command that prints a table, as quick as it can be."""
    return {
        "compare": ("compare", "demo", "--years", "1-20", "--draws", "2", "--detail", "--months"),
        "play": ("compare", "match-days", "--years", "1-10", "--show", "play"),
        "costs": ("compare", "pond", "--years", "1-10", "--draws", "0", "--headline", "cost"),
        "supply": ("supply", "pond", "--years", "1-10", "--draws", "0", "--detail"),
        "check": ("check", "match-days", "--all"),
        "catalog": ("catalog", "sand"),
        "kinds": ("catalog",),
        "plans": ("catalog", "plans"),
        "ledger": ("ledger", "match-days", "--field", "practice", "--plan", "none", "--year", "3"),
        "weather check": ("weather", "check", DATA / "newark-2013.csv"),
        "weather make": ("weather", "make", "demo", "--years", "30"),
        "status": ("sweep", "status", swept / "out"),
        "front": ("front", swept / "out", "--risk", "days below", "--force"),
        "effects": ("effects", swept / "out", "--of", "water"),
        "search": ("search", swept / "mine.toml"),
    }


NAMES = tuple(commands(Path("x")))


# Text


def parts_of(one: Comparison) -> list[Part]:
    return [*overview(one), *detail(one), months(one)]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.slow
def test_text_fits_its_width_and_cuts_no_word(
    demo: Comparison, three_fields: Comparison, width: int
) -> None:
    for one in (demo, three_fields):
        parts = parts_of(one)
        text = as_text(parts, width)
        lines = text.splitlines()
        assert max(map(len, lines)) <= width
        assert not [line for line in lines if line != line.rstrip()]
        assert "…" not in text
        printed = set(text.split())
        for table in (part for part in parts if isinstance(part, Table)):
            shown = [c for c in table.shown if not {table.across, table.by} & set(c.keys)]
            for cell in shown:
                assert set(cell.head.split()) <= printed, cell.head
                for row in table.rows:
                    assert set(cell.write(*(row[key] for key in cell.keys)).split()) <= printed


def test_the_demo_answers_on_one_screen(demo: Comparison) -> None:
    text = as_text(overview(demo), 100)
    assert len(text.splitlines()) <= 40
    assert "keeps " in text
    assert "0±0" not in text


def test_fields_that_do_not_fit_stand_below(three_fields: Comparison) -> None:
    heads = [str(label) for label in three_fields.summary["field_label"].values]
    for width, blocks in ((60, 3), (200, 1)):
        lines = as_text(overview(three_fields), width).splitlines()
        assert sum(line.startswith("No irrigation") for line in lines) == blocks
        text = "\n".join(lines)
        assert all(f"{head}, 2.00 acre" in text for head in heads)


def test_a_long_name_of_a_field_is_wrapped_and_never_in_the_way() -> None:
    table = Table(
        "t", "T", [words("a", "a"), number("b", "some number", "in", 1)],
        [{"a": "x" * 300, "b": 1.0}, {"a": "wide 宽宽宽宽", "b": float("nan")}], lead=("a",),
    )  # fmt: skip
    for width in WIDTHS:
        assert all(line.cell_len <= width for line in text_lines([table], width))
    assert as_text([table], 60).replace("\n", "").count("x") == 300


@pytest.mark.slow
def test_a_terminal_sets_the_width_and_a_pipe_has_100() -> None:
    command = [sys.executable, "-c", "from drysward.cli import main; main(['catalog', 'species'])"]
    for columns in (60, 120):
        master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
        env = {k: v for k, v in os.environ.items() if k not in ("COLUMNS", "LINES")}
        with subprocess.Popen(command, stdout=slave, stderr=slave, env=env) as running:
            os.close(slave)
            out = b""
            try:
                while chunk := os.read(master, 65536):
                    out += chunk
            except OSError:  # the other end is closed
                pass
            assert running.wait() == 0
        lines = re.sub(r"\x1b\[[0-9;]*m", "", out.decode()).splitlines()
        assert 40 < max(map(len, lines)) <= columns
    piped = subprocess.run(command, capture_output=True, text=True, check=True).stdout
    assert max(map(len, piped.splitlines())) <= 100
    assert not [line for line in piped.splitlines() if line != line.rstrip()]


# The other formats


def tables_of_csv(text: str) -> list[list[dict[str, str]]]:
    blocks = re.split(r"\n\n(?=# )", text.strip("\n")) if text.startswith("# ") else [text]
    return [
        list(csv.DictReader(line for line in io.StringIO(block) if not line.startswith("# ")))
        for block in blocks
    ]


def tables_of_markdown(text: str) -> list[list[list[str]]]:
    tables: list[list[list[str]]] = []
    inside = False
    for line in text.splitlines():
        if line.startswith("|"):
            if not inside:
                tables.append([])
            cells = re.split(r"(?<!\\)\|", line)[1:-1]
            tables[-1].append([cell.strip() for cell in cells])
        inside = line.startswith("|")
    return tables


def test_every_format_says_the_same_numbers(demo: Comparison) -> None:
    parts = parts_of(demo)
    tables = [part for part in parts if isinstance(part, Table)]
    read = json.loads(as_json(parts))
    assert read["title"] == demo.summary.attrs["title"]
    assert [one["key"] for one in read["tables"]] == [table.key for table in tables]
    of_csv, of_markdown = tables_of_csv(as_csv(parts)), tables_of_markdown(as_markdown(parts))
    for table, one, rows, marked in zip(tables, read["tables"], of_csv, of_markdown, strict=True):
        assert len(one["rows"]) == len(rows) == len(marked) - 2 == len(table.rows)
        for row, in_json, in_csv, cells in zip(
            table.rows, one["rows"], rows, marked[2:], strict=True
        ):
            for column in table.columns:
                head = f"{column.key} ({column.unit})" if column.unit else column.key
                value = row[column.key]
                if value is None or (isinstance(value, float) and math.isnan(value)):
                    assert in_json[column.key] is None
                    assert in_csv[head] == ""
                elif isinstance(value, str):
                    assert in_json[column.key] == value
                else:
                    assert in_json[column.key] == pytest.approx(value, rel=1e-9)
                    assert float(in_csv[head]) == pytest.approx(value, rel=1e-9)
            for cell, text in zip(table.shown, cells, strict=True):
                shown = " ".join(cell.write(*(row[key] for key in cell.keys)).split())
                assert text.replace("\\", "") == shown


def test_json_of_compare_is_the_result_itself(demo: Comparison) -> None:
    (table,) = json.loads(as_json(overview(demo)))["tables"]
    units = {one["key"]: one["unit"] for one in table["columns"]}
    assert units["water"] == "in"
    assert units["dormancy_high"] == "of 100 years"
    assert demo.drawn is not None
    for row in table["rows"]:
        where = {"field": row["field"], "plan": row["plan"]}
        one, drawn = demo.summary.sel(where), demo.drawn.sel(where)
        assert row["days_below"] == pytest.approx(drawn["doubt_days_below_condition"].item())
        assert row["water"] * 25.4 == pytest.approx(drawn["doubt_water"].item())
        dry = drawn["doubt_demand"].sel(period=10.0).item()
        assert row["water_dry"] * 25.4 == pytest.approx(dry)
        m3 = dry * one["area_m2"].item() / 1000.0
        assert row["volume_dry"] * 3785.411784 == pytest.approx(m3, rel=1e-6)  # Mgal
        for stage, word in (("wilt", "wilt"), ("dormant", "dormancy"), ("dead", "death")):
            for end in ("", "_low", "_high"):
                p = drawn[f"doubt_probability{end}"].sel(stage=stage).item()
                assert row[f"{word}{end}"] == pytest.approx(100.0 * p, rel=1e-9, abs=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_every_command_speaks_every_format(swept: Path, name: str) -> None:
    said = {form: ask(*commands(swept)[name], "--format", form).stdout for form in FORMATS}
    read = json.loads(said["json"], parse_constant=lambda name: pytest.fail(name))
    assert read["tables"]
    of_csv, of_markdown = tables_of_csv(said["csv"]), tables_of_markdown(said["markdown"])
    assert len(read["tables"]) == len(of_csv) == len(of_markdown)
    for table, rows, marked in zip(read["tables"], of_csv, of_markdown, strict=True):
        keys = [one["key"] for one in table["columns"]]
        assert len(set(keys)) == len(keys)
        assert len(table["rows"]) == len(rows) == len(marked) - 2
        heads = [f"{c['key']} ({c['unit']})" if c["unit"] else c["key"] for c in table["columns"]]
        for row, line in zip(table["rows"], rows, strict=True):
            assert list(row) == keys
            assert list(line) == heads
            for key, head in zip(keys, heads, strict=True):
                if isinstance(row[key], int | float):
                    assert float(line[head]) == row[key]
                elif row[key] is None:
                    assert line[head] == ""
    lines = said["text"].splitlines()
    assert max(map(len, lines)) <= 100
    assert not [line for line in lines if line != line.rstrip()]


# The language

GONE = (
    r"foot-\s", r"\bdor-\s", r"\bin-\s?vaders", r"\bmade\b", r"\btold\b", r"\basks\b",
    r"\basked\b",
    r"shade less", r"looked at", r"relied on", r"may be traded", r"\blucky\b", r"\bnan\b",
    r"\b1 (days|years|plans|points|chunks|fields|cores)\b", r"years of 1\b", r"±0(?![.\d])",
    r"\d %",
    r"catalogue", r"labour", r"favour", r"metres", r"mean nothing", r"money of today",
    r"so many of 100", r"chance of the", r"\bwanted\b", r"-\d+%", r"worst residual",
)  # fmt: skip
# Keys, notes and rules of the catalog have their own words.
OF_THE_CATALOG = (r"catalogue", r"labour", r"\bmade\b", r"\btold\b", r"\basked\b")
# Texts of other parts of the program, which this test leaves to their owners.
_OWN = re.compile(
    r"^(Assumed|Note|Weather|Reference ET|Goal|Larger size)\b.*(\n {2,}.*)*", re.M
)


@pytest.mark.slow
@pytest.mark.parametrize("name", NAMES)
def test_words_that_nobody_on_a_field_says_are_gone(swept: Path, name: str) -> None:
    text = _OWN.sub("", ask(*commands(swept)[name]).stdout)
    found = [word for word in GONE if re.search(word, text)]
    if name in ("catalog", "plans", "kinds", "check"):
        found = [word for word in found if word not in OF_THE_CATALOG]
    assert not found, [re.findall(f".*{word}.*", text) for word in found]


@pytest.mark.parametrize("name", ["", *main.list_commands(None)])  # type: ignore[arg-type]
def test_help_speaks_as_people_do(name: str) -> None:
    text = ask(*([name] if name else []), "--help").stdout
    assert not [word for word in GONE if re.search(word, text)]


def test_a_cell_is_shown_and_its_numbers_are_kept() -> None:
    table = Table(
        "t", "", [words("plan", "plan"), number("a", "mean", "d", 1), number("b", "worst", "d", 1)],
        [{"plan": "x|y", "a": 9.04, "b": 24.0}],
        [words("plan", "plan"), Cell("days", ("a", "b"), lambda a, b: f"{a:.0f} ({b:.0f})")],
    )  # fmt: skip
    assert "9 (24)" in as_text([table])
    assert "| x\\|y | 9 (24) |" in as_markdown([table])
    assert as_csv([table]) == "plan,a (d),b (d)\nx|y,9.04,24\n"
    assert json.loads(as_json([table]))["tables"][0]["rows"] == [
        {"plan": "x|y", "a": 9.04, "b": 24}
    ]


def test_numbers_without_end_and_none_survive() -> None:
    table = Table("t", "", [number("a", "a")], [{"a": math.inf}, {"a": math.nan}, {"a": None}])
    assert [row["a"] for row in json.loads(as_json([table]))["tables"][0]["rows"]] == [
        "inf", None, None
    ]  # fmt: skip
    assert as_csv([table]).splitlines() == ["a", "inf", '""', '""']


def test_one_plan_alone_has_a_detail_without_a_choice(tmp_path):
    text = drysward.shipped("demo").text
    one = tmp_path / "one.toml"
    one.write_text(text[: text.index("[plans.inch_a_week]")])
    done = ask("compare", one, "--years", "1-5", "--draws", "2", "--detail")
    assert "another" not in done.output
