"""What commands write: whose files they replace, whose never, and what names may do to a reader."""

from __future__ import annotations

import csv
import os
import resource
import shutil
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib import import_module
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner, Result

import drysward
from drysward.cli import main
from drysward.faults import FaultyInput
from drysward.files import RECORD, Outputs, claim_folder, ending_of, write_csv, write_netcdf
from drysward.pages.result import open_result
from drysward.screen.visible import visible
from drysward.weather.file.read import read_table

SWEEP = """
title = "Two triggers"
scenario = "demo"
plans = ["refill"]
years = 3
[axes.trigger]
key = "plans.refill.trigger"
values = [0.3, 0.6]
"""
MINE = b"years of work"


def ask(*words: object) -> Result:
    return CliRunner().invoke(main, [str(word) for word in words])


class Files:
    """A person's folder: a scenario on a weather file, a result and a sweep."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.scenario, self.weather = folder / "mine.toml", folder / "weather.csv"
        self.result, self.sweep = folder / "result", folder / "sweep"

    def words(self, command: str, out: Path) -> list[object]:
        """The command line that writes ``out``, or in ``out`` where the command fills a folder."""
        few = ("--years", 2002)
        return {
            "compare": ["compare", self.scenario, "--draws", 0, *few, "--out", out],
            "supply": ["supply", "pond", "--years", 2, "--draws", 0, "--no-sizing", "--out", out],
            "ledger": ["ledger", self.scenario, "--field", "stadium", "--plan", "none",
                       "--year", 2002, "--out", out],
            "make": ["weather", "make", self.scenario, "--years", 2, "--source", "resample",
                     "--out", out],
            "report": ["report", self.result, "--out", out],
            "picture": ["picture", self.result, "cover", "--plan", "none", "-o", out],
            "front": ["front", out],
        }[command]  # fmt: skip


OF_FILES = {"ledger": ".csv", "make": ".csv", "report": ".html", "picture": ".svg"}
OF_FOLDERS = {"compare": "results.nc", "supply": "results.nc", "front": "front-water-wilt.csv"}


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Files:
    mine = Files(tmp_path_factory.mktemp("mine"))
    done = ask("weather", "make", "demo", "--years", 3, "--out", mine.weather)
    assert done.exit_code == 0, done.stderr
    (mine.folder / RECORD).unlink()
    text = (files("drysward.scenarios") / "demo.toml").read_text(encoding="utf-8")
    head, rest = text.split("[weather]", 1)
    _, rest = rest.split("[fields.stadium]", 1)
    rest, _ = rest.split("[plans.deficit]", 1)
    weather = f'[weather]\nfile = "{mine.weather.name}"\n'
    mine.scenario.write_text(f"{head}{weather}[fields.stadium]{rest}")
    (mine.folder / "sweep.toml").write_text(SWEEP)
    for words in (
        ["compare", mine.scenario, "--draws", 0, "--years", 2002, "--out", mine.result],
        ["sweep", mine.folder / "sweep.toml", "--out", mine.sweep, "--workers", 1],
    ):
        done = ask(*words)
        assert done.exit_code == 0, done.output
    return mine


@pytest.fixture
def mine(made: Files, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Files:
    # What a page says is tested elsewhere, and takes seconds.
    monkeypatch.setattr(import_module("drysward.pages.page"), "page", lambda *_: "A page")
    shutil.copytree(made.folder, tmp_path / "mine")
    return Files(tmp_path / "mine")


def contents(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in folder.rglob("*") if path.is_file() and path.name != RECORD
    }  # fmt: skip


def target(mine: Files, command: str) -> tuple[Path, Path]:
    """What ``--out`` names, and the file of it to look at."""
    if command in OF_FILES:
        path = mine.folder / f"out{OF_FILES[command]}"
        return path, path
    folder = mine.sweep if command == "front" else mine.folder / "out"
    return folder, folder / OF_FOLDERS[command]


def refused(done: Result, *said: str) -> None:
    assert done.exit_code == 2, done.output
    line = done.stderr.splitlines()[-1]
    for words in said:
        assert words in line
    assert "Traceback" not in done.output


# Files that are read


def symbolic(path: Path) -> Path:
    link = path.with_name(f"link{path.suffix}")
    link.symlink_to(path.name)
    return link


def hard(path: Path) -> Path:
    link = path.with_name(f"second{path.suffix}")
    os.link(path, link)
    return link


def through_a_linked_folder(path: Path) -> Path:
    folder = path.parent.with_name(f"{path.parent.name}-too")
    folder.symlink_to(path.parent)
    return folder / path.name


def round_about(path: Path) -> Path:
    return Path(os.path.relpath(path.parent)) / ".." / path.parent.name / path.name


SPELLINGS = (Path, symbolic, hard, through_a_linked_folder, round_about)


@pytest.mark.parametrize("spelled", SPELLINGS)
def test_no_input_is_written_over_by_any_name(mine: Files, spelled: Callable) -> None:
    out = spelled(mine.weather)
    before = contents(mine.folder)
    for command in ("ledger", "make"):
        refused(ask(*mine.words(command, out), "--force"), str(out), "is an input of this command")
    assert contents(mine.folder) == before


def test_no_command_writes_over_what_it_reads(mine: Files) -> None:
    chunk = mine.sweep / "chunk-000000.nc"
    before = contents(mine.folder)
    read = "is an input of this command"
    refused(ask(*mine.words("ledger", mine.scenario), "--force"), read)
    for command in ("report", "picture"):
        for kept in (mine.result / "results.nc", mine.sweep / "sweep.json", chunk):
            folder = kept.parent
            out = folder / f"link{OF_FILES[command]}"
            out.symlink_to(kept.name)
            words = [folder if w == mine.result else w for w in mine.words(command, out)]
            if command == "picture" and folder == mine.sweep:
                words[2:5] = ["front"]
            refused(ask(*words, "--force"), read)
            out.unlink()
    shipped = Path(str(files("drysward.scenarios"))) / "demo.toml"
    words = ("--field", "stadium", "--plan", "none", "--year", 2, "--force", "--out", shipped)
    refused(ask("ledger", "demo", *words), read)
    assert contents(mine.folder) == before


@pytest.mark.parametrize("command", OF_FOLDERS)
def test_no_file_of_a_folder_is_an_input(mine: Files, command: str) -> None:
    folder, path = target(mine, command)
    folder.mkdir(exist_ok=True)
    words = mine.words(command, folder)
    read = mine.sweep / "sweep.json" if command == "front" else mine.weather
    if command == "supply":
        words += ["--weather", read, "--source", "record"]
    os.link(read, path)
    before = contents(mine.folder)
    refused(ask(*words, "--force"), str(path), "is an input of this command")
    assert contents(mine.folder) == before


# Files that are there


@pytest.mark.parametrize("command", [*OF_FILES, "compare", "front"])
@pytest.mark.slow
def test_only_what_drysward_wrote_is_replaced(mine: Files, command: str) -> None:
    out, path = target(mine, command)
    words = mine.words(command, out)
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(MINE)
    before = contents(mine.folder)
    refused(ask(*words), str(path), "was not written by drysward", "--force")
    assert contents(mine.folder) == before
    done = ask(*words, "--force")
    assert done.exit_code == 0, done.output
    written = path.read_bytes()
    assert written != MINE
    assert f"Wrote {path}\n" in done.stderr
    path.write_bytes(written + b"\n")  # as a person who adds a line
    refused(ask(*words), "was not written by drysward")
    assert path.read_bytes() == written + b"\n"
    assert not list(mine.folder.rglob("*.part"))


@pytest.mark.parametrize("command", [*OF_FILES, "compare", "front"])
def test_what_drysward_wrote_is_replaced(mine: Files, command: str) -> None:
    out, path = target(mine, command)
    path.parent.mkdir(exist_ok=True)
    Outputs().write({path: lambda part: part.write_bytes(MINE)})
    done = ask(*mine.words(command, out))
    assert done.exit_code == 0, done.output
    assert path.read_bytes() != MINE


def test_what_drysward_wrote_is_known_by_another_name_and_in_a_copied_folder(mine: Files) -> None:
    page = mine.folder / "old.csv"
    outputs = Outputs()
    outputs.write({page: lambda part: part.write_text("a,b\n")})
    page.rename(mine.folder / "new.csv")
    outputs.claim(mine.folder / "new.csv")
    shutil.copytree(mine.folder, mine.folder.with_name("copy"))
    outputs.claim(mine.folder.with_name("copy") / "new.csv")
    (mine.folder / RECORD).unlink()
    with pytest.raises(FaultyInput, match="was not written by drysward"):
        outputs.claim(mine.folder / "new.csv")


def test_a_link_is_followed_and_said_so(mine: Files) -> None:
    elsewhere = mine.folder / "elsewhere"
    elsewhere.mkdir()
    real, link = elsewhere / "account.csv", mine.folder / "out.csv"
    link.symlink_to(real)
    words = mine.words("ledger", link)
    done = ask(*words)
    assert done.exit_code == 0, done.output
    assert f"Wrote {link}, a link to {real.resolve()}\n" in done.stderr
    assert link.is_symlink()
    assert real.read_text().startswith("date,")
    real.write_bytes(MINE)
    refused(ask(*words), f"links to {real.resolve()}", "--force")
    assert real.read_bytes() == MINE
    shutil.rmtree(elsewhere)
    refused(ask(*words), "there is no folder", "mkdir -p")


# Places


@pytest.mark.parametrize("command", [*OF_FILES, "compare", "supply"])
def test_a_missing_folder_is_never_made_in_silence(mine: Files, command: str) -> None:
    missing = mine.folder / "not here"
    out = missing / target(mine, command)[0].name
    refused(ask(*mine.words(command, out)), "there is no folder", f"mkdir -p '{missing}'")
    assert not missing.exists()


def test_the_last_folder_is_made(tmp_path: Path) -> None:
    claim_folder(tmp_path / "new")
    assert list((tmp_path / "new").iterdir()) == []
    with pytest.raises(FaultyInput, match="mkdir -p"):
        claim_folder(tmp_path / "a" / "b")


def test_a_run_that_fails_leaves_no_empty_folder(tmp_path: Path, monkeypatch) -> None:
    def fail(*_: object, **__: object) -> None:
        raise IndexError("of this test")

    monkeypatch.setattr(drysward, "run", fail)
    kept = tmp_path / "kept"
    kept.mkdir()
    for folder in (tmp_path / "new", kept):
        answer = ask("supply", "pond", "--out", folder)
        assert answer.exit_code == 1
        assert "of this test" in answer.output
    # A folder that was there before stays.
    assert list(tmp_path.iterdir()) == [kept]


@pytest.mark.parametrize("command", OF_FILES)
def test_a_folder_is_no_file(mine: Files, command: str) -> None:
    out = target(mine, command)[0]
    out.mkdir()
    refused(ask(*mine.words(command, out), "--force"), str(out), "give the path of a file")


@pytest.mark.parametrize("command", ["compare", "supply"])
def test_a_file_is_no_folder(mine: Files, command: str) -> None:
    out = mine.folder / "file"
    out.write_bytes(MINE)
    for place in (out, out / "out", "/dev/null"):
        refused(ask(*mine.words(command, place), "--force"), "cannot be written")
    assert out.read_bytes() == MINE


def test_a_device_takes_what_is_written(mine: Files) -> None:
    for command in OF_FILES:
        done = ask(*mine.words(command, Path("/dev/null")))
        assert done.exit_code == 0, done.output
    assert not (Path("/dev") / RECORD).exists()


def test_a_pipe_takes_what_is_written(mine: Files) -> None:
    pipe, got = mine.folder / "pipe", []
    os.mkfifo(pipe)
    reader = threading.Thread(target=lambda: got.append(pipe.read_text()), daemon=True)
    reader.start()
    done = ask(*mine.words("ledger", pipe))
    assert done.exit_code == 0, done.output
    reader.join(10.0)
    assert got[0].startswith("date,")
    assert got[0].count("\n") == 366


@contextmanager
def without_leave() -> Iterator[None]:
    """As a person whom the modes of files bind; root is not one."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.fixture
def shared() -> Iterator[Path]:
    """A folder that everybody reaches, which those of pytest are not."""
    with tempfile.TemporaryDirectory() as folder:
        yield Path(folder)


def test_what_may_not_be_written_is_left_alone(shared: Path) -> None:
    folder = shared
    folder.chmod(0o755)
    path = folder / "out.csv"
    Outputs().write({path: lambda part: part.write_bytes(MINE)})
    path.chmod(0o444)
    with without_leave(), pytest.raises(FaultyInput, match="Permission denied"):
        Outputs(force=True).claim(path)
    folder.chmod(0o777)
    with without_leave(), pytest.raises(FaultyInput, match="Permission denied"):
        Outputs(force=True).claim(path)
    folder.chmod(0o555)
    for claim in (Outputs().claim, claim_folder):
        with without_leave(), pytest.raises(FaultyInput, match="Permission denied"):
            claim(folder / "new")
    folder.chmod(0o755)
    assert path.read_bytes() == MINE


# Disks that are full


@contextmanager
def full_disk() -> Iterator[None]:
    """No file of this process can grow beyond some bytes."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (16, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.mark.parametrize("command", [*OF_FILES, *OF_FOLDERS])
@pytest.mark.slow
def test_a_full_disk_is_said_in_a_line_and_breaks_nothing(mine: Files, command: str) -> None:
    out, path = target(mine, command)
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(MINE)
    before = contents(mine.folder)
    words = mine.words(command, out)
    refused(ask(*words), str(path), "was not written by drysward", "--force")
    with full_disk():
        done = ask(*words, "--force")
    refused(done, f"{path}: cannot be written (File too large); choose another path")
    assert contents(mine.folder) == before


def test_netcdf_on_a_full_disk(tmp_path: Path) -> None:
    path = tmp_path / "weather.nc"
    large = xr.Dataset({"rain": ("time", np.zeros(1000))})
    with full_disk(), pytest.raises(FaultyInput, match="File too large"):
        Outputs().write({path: lambda part: write_netcdf(large, part, {})})
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device of Linux")
def test_a_full_device_is_said_in_a_line(mine: Files) -> None:
    said = "/dev/full: cannot be written (No space left on device); choose another path"
    for command in OF_FILES:
        refused(ask(*mine.words(command, Path("/dev/full"))), said)


def test_all_files_of_a_command_are_written_or_none(tmp_path: Path) -> None:
    first, second = tmp_path / "a.csv", tmp_path / "b.csv"
    Outputs().write({path: lambda part: part.write_bytes(MINE) for path in (first, second)})

    def fails(part: Path) -> None:
        part.write_bytes(b"half")
        raise OSError(28, "No space left on device")

    with pytest.raises(FaultyInput, match=r"b\.csv: cannot be written .No space left"):
        Outputs().write({first: lambda part: part.write_bytes(b"new"), second: fails})
    assert first.read_bytes() == second.read_bytes() == MINE
    assert not list(tmp_path.glob("*.part"))


# Names that no file can have


def test_impossible_names_are_said_in_a_line(tmp_path: Path) -> None:
    loop = tmp_path / "loop.csv"
    loop.symlink_to(loop.name)
    for path in (Path("a\0b.csv"), tmp_path / f"{'x' * 300}.csv", loop):
        for claim in (Outputs(force=True).claim, claim_folder):
            with pytest.raises(FaultyInput, match="cannot be written") as refusal:
                claim(path)
            assert "\n" not in str(refusal.value)
        with pytest.raises(FaultyInput, match=r"cannot be read|is not a valid file name"):
            read_table(path)
        with pytest.raises(FaultyInput, match="holds no result"):
            open_result(path)


def test_a_scenario_may_name_no_impossible_file(mine: Files) -> None:
    text = mine.scenario.read_text()
    mine.scenario.write_text(text.replace('"weather.csv"', '"a\\u0000b.csv"'))
    refused(ask("check", mine.scenario), r"a\x00b.csv: is not a valid file name")


def test_endings_say_the_kind() -> None:
    assert ending_of(Path("a.NC"), (".csv", ".nc")) == ".nc"
    assert ending_of(Path("/dev/null"), (".csv", ".nc")) == ".csv"
    with pytest.raises(FaultyInput, match=r"\.csv or \.nc"):
        ending_of(Path("a.txt"), (".csv", ".nc"))


# Names that are no harmless text

RED, TURNED = "\x1b[31m", "\u202e"
FORMULA = '=HYPERLINK("http://x","y")'


@pytest.fixture(scope="module")
def hostile(made: Files) -> Files:
    """The scenario with a title that colors and turns, and fields that are formulas."""
    mine = Files(made.folder)
    text = made.scenario.read_text()
    title = next(line for line in text.splitlines() if line.startswith("title"))
    label = next(line for line in text.splitlines() if line.startswith("label"))
    text = text.replace(title, f'title = "Two {RED}{TURNED} fields"'.replace("\x1b", "\\u001b"))
    text = text.replace(label, f"label = '{FORMULA}'", 1)
    mine.scenario = made.folder / "hostile.toml"
    mine.scenario.write_text(text)
    return mine


def test_names_reach_the_terminal_as_text(hostile: Files, tmp_path: Path) -> None:
    for words in (["check", hostile.scenario], hostile.words("compare", tmp_path / "out")):
        done = ask(*words)
        assert done.exit_code == 0, done.output
        assert r"Two \x1b[31m\u202e fields" in done.stdout
        for said in (done.stdout, done.stderr):
            assert not {"\x1b", TURNED} & set(said)
    with xr.open_dataset(tmp_path / "out" / "results.nc") as kept:
        assert kept.attrs["title"] == f"Two {RED}{TURNED} fields"
    with (tmp_path / "out" / "summary.csv").open() as stream:
        row = next(csv.DictReader(stream))
    assert row["field_label"] == f"'{FORMULA}"


def test_refusals_reach_the_terminal_as_text(tmp_path: Path) -> None:
    for words in (
        ["check", f"{RED}.toml"],
        ["weather", "check", f"{tmp_path}/{TURNED}.csv"],
        ["compare", "--years", RED],
        [f"{RED}compare"],
        ["ledger", "demo", f"--{RED}"],
    ):
        done = ask(*words)
        assert done.exit_code == 2
        assert not {"\x1b", TURNED} & set(done.output)
        assert r"\x1b[31m" in done.output or r"\u202e" in done.output


def test_commands_speak_only_where_text_is_made_harmless() -> None:
    package = Path(str(files("drysward")))
    for source in (*package.glob("cli/*.py"), *package.glob("screen/*.py")):
        if source.name != "visible.py":
            text = source.read_text().replace("screen.print(", "")
            assert "click.echo(" not in text, source
            assert " print(" not in text, source


def test_what_is_visible() -> None:
    plain = "Größe 12\u202f% \N{MULTIPLICATION SIGN} 3\n\t\N{NO-BREAK SPACE}שדה"
    assert visible(plain) == plain
    assert visible("a\x1b]0;b\x07\r\x9bc\u2066d\udcff") == r"a\x1b]0;b\x07\r\x9bc\u2066d\udcff"


def test_text_is_no_formula_in_csv_and_numbers_are_numbers(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    numbers = ["-1.5", "+2", "-inf", -3.0, 4, ""]
    texts = ["=1+1", "+cmd|' /C calc'!A0", "-a", "@SUM(1)", "\tx", "\rx", "＝1", "-"]
    write_csv([numbers, texts, ["a=b", "1-2"]], path)
    with path.open(newline="") as stream:
        rows = list(csv.reader(stream))
    assert rows[0] == [str(number) for number in numbers]
    assert rows[1] == [f"'{text}".replace("\r", "\n") for text in texts]
    assert rows[2] == ["a=b", "1-2"]


def test_files_of_an_earlier_run_that_the_new_one_does_not_write_go(tmp_path: Path) -> None:
    mine, own = tmp_path / "mine.csv", tmp_path / "own.csv"

    def run(*names: str) -> None:
        written = {tmp_path / name: lambda part: part.write_text(part.name) for name in names}
        stale = [tmp_path / name for name in ("doubt.csv", "mine.csv")]
        Outputs((), force=True).write(written, stale)

    run("results.nc", "doubt.csv", "own.csv")
    mine.write_bytes(MINE)
    run("results.nc")
    assert not (tmp_path / "doubt.csv").exists()
    # A file of other origin stays, and so does one that the run has no part in.
    assert mine.read_bytes() == MINE
    assert own.exists()
    # So does a file that was changed by hand, or that is behind a link.
    run("results.nc", "doubt.csv")
    (tmp_path / "doubt.csv").write_bytes(MINE)
    run("results.nc")
    assert (tmp_path / "doubt.csv").read_bytes() == MINE
    (tmp_path / "doubt.csv").unlink()
    (tmp_path / "doubt.csv").symlink_to(own)
    run("results.nc")
    assert own.exists()
    assert (tmp_path / "doubt.csv").is_symlink()


@pytest.mark.slow
def test_a_comparison_without_draws_leaves_none_of_an_earlier_one(tmp_path: Path) -> None:
    words = ("compare", "--years", "1-3", "--out", tmp_path / "result")
    assert ask(*words, "--draws", 2).exit_code == 0
    assert (tmp_path / "result" / "doubt.csv").exists()
    assert ask(*words, "--draws", 0).exit_code == 0
    assert not (tmp_path / "result" / "doubt.csv").exists()
    assert (tmp_path / "result" / "summary.csv").exists()
