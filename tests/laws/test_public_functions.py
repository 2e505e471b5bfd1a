"""The public functions: what they promise, and that the commands call nothing else."""

import ast
import inspect
import json
import tomllib
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import drysward
from drysward.faults import FaultyInput
from drysward.studies.sweep.front import measure

CLI = Path(inspect.getfile(drysward)).parent / "cli"
TYPES = {"Morning", "Scenario"}
PUBLIC = set(drysward.__all__) - {"__version__"}
# What a command may import beside the public functions; of the rest only constants, such as names
# of files, and of their own package.
ROOMS = (
    "drysward.faults", "drysward.files", "drysward.loading", "drysward.progress", "drysward.screen",
    "drysward.cli",
)  # fmt: skip
# Reading of arguments, and commands that show what is there and run nothing.
OTHERS = {"arguments.py", "catalog.py", "check.py", "fit.py", "init.py", "show.py", "weather.py"}


def imports(tree: ast.Module) -> list[tuple[str, str]]:
    """Module and name of every import that is not for type checkers only."""
    checked = {
        id(node)
        for part in ast.walk(tree)
        if isinstance(part, ast.If) and ast.unparse(part.test) == "TYPE_CHECKING"
        for node in ast.walk(part)
    }
    found = []
    for node in ast.walk(tree):
        if id(node) in checked:
            continue
        if isinstance(node, ast.Import):
            found += [(name.name, "") for name in node.names]
        elif isinstance(node, ast.ImportFrom):
            found += [(str(node.module), name.name) for name in node.names]
    return [one for one in found if one[0].partition(".")[0] == "drysward"]


@pytest.mark.parametrize(
    "file", sorted(set(CLI.glob("*.py")) - {CLI / name for name in OTHERS}), ids=lambda f: f.name
)
def test_commands_call_only_public_functions(file: Path) -> None:
    # Refuses before the run what has no play, or no feeding, to show.
    elsewhere = {
        ("drysward.site.play", "require_play"),
        ("drysward.scenario.feeding_tables", "require_feeding"),
    } if file.name == "compare.py" else ()
    for module, name in imports(ast.parse(file.read_text(encoding="utf-8"))):
        own = module == "drysward" and (not name or name in PUBLIC or name.isupper())
        own = own or (module, name) == ("drysward", "__version__") or module.startswith(ROOMS)
        constant = bool(name) and name.isupper()
        assert own or constant or (module, name) in elsewhere, f"{module}.{name}"


@pytest.mark.parametrize("name", sorted(PUBLIC - TYPES))
def test_each_has_its_types_and_a_whole_docstring(name: str) -> None:
    function = getattr(drysward, name)
    assert getattr(drysward, name) is function  # the same whatever was imported since
    doc = inspect.getdoc(function) or ""
    for section in ("Parameters", "Returns", "Raises", "Examples"):
        assert f"{section}\n{'-' * len(section)}\n" in doc, section
    signature = inspect.signature(function)
    assert signature.return_annotation is not inspect.Signature.empty
    for parameter in signature.parameters.values():
        assert parameter.annotation is not inspect.Parameter.empty, parameter.name
        assert f"{parameter.name} :" in doc or f"{parameter.name}, " in doc or (
            f", {parameter.name} :" in doc
        ), parameter.name


def test_types_of_what_is_given_and_taken_are_at_the_top() -> None:
    assert isinstance(drysward.shipped("demo"), drysward.Scenario)
    assert "depletion" in drysward.Morning._fields
    assert {"Morning", "Scenario"} <= set(dir(drysward))


def test_the_version_stands_in_one_place() -> None:
    root = Path(__file__).parents[2]
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))
    assert "version" not in project["project"]
    assert project["tool"]["setuptools"]["dynamic"]["version"] == {"attr": "drysward.__version__"}
    log = root / "sim" / "docs" / "changelog.md"
    assert f"## {drysward.__version__}" in log.read_text(encoding="utf-8")
    assert drysward.__version__ in drysward.CITATION


@pytest.fixture(scope="module")
def ran(scenes):
    fields = [scenes.field("sand_over_gravel_12in", key="a"), scenes.field(key="b")]
    plans = [scenes.plan("none"), scenes.plan("refill", trigger=0.5)]
    scenario = scenes.scenario(fields, plans)
    return scenario, drysward.run(scenario, record=scenes.weather(years=3), daily=True)


def test_what_is_saved_opens_with_the_same_numbers(ran, tmp_path: Path) -> None:
    scenario, result = ran
    summary = drysward.summarize(result, scenario)
    paths = drysward.save(result, tmp_path / "out", scenario, summary)
    assert [path.name for path in paths] == [
        "results.nc", "summary.csv", "daily-odds.csv", "site.csv",
    ]  # fmt: skip
    for place in (tmp_path / "out", tmp_path / "out" / "results.nc"):
        opened = drysward.open(place)
        for name in (*result.data_vars, *summary.data_vars):
            whole = result if name in result else summary
            np.testing.assert_array_equal(opened[name].values, whole[name].values, err_msg=name)
    assert opened.attrs["citation"] == drysward.CITATION
    assert drysward.__version__ in opened.attrs["history"]


@pytest.mark.slow
def test_a_report_is_the_same_from_memory_and_from_the_file(ran, tmp_path: Path) -> None:
    _, result = ran
    page = drysward.report(result, tmp_path / "page.html")
    assert (tmp_path / "page.html").read_text(encoding="utf-8") == page
    drysward.save(result, tmp_path / "out")
    assert drysward.report(tmp_path / "out") == page
    figure = drysward.picture(tmp_path / "out", "plans", tmp_path / "plans.svg", stage="wilt")
    assert len(figure.axes) == result.sizes["field"]
    assert (tmp_path / "plans.svg").read_text(encoding="utf-8").startswith("<?xml")
    assert callable(drysward.report)
    assert callable(drysward.picture)


def test_files_that_others_made_stay(ran, tmp_path: Path) -> None:
    _, result = ran
    (tmp_path / "summary.csv").write_text("mine")
    with pytest.raises(FaultyInput, match="was not written by drysward"):
        drysward.save(result, tmp_path)
    assert (tmp_path / "summary.csv").read_text() == "mine"
    assert not (tmp_path / "results.nc").exists()
    drysward.save(result, tmp_path, force=True)
    with pytest.raises(FaultyInput, match="is an input of this command"):
        drysward.save(result, tmp_path, reads=[tmp_path / "results.nc"])


# Objectives in Python


def points() -> xr.Dataset:
    """Three points of a sweep, two fields and two plans."""
    water = np.array([[[0.0, 100.0], [0.0, 60.0]], [[0.0, 80.0], [0.0, 70.0]],
                      [[0.0, 90.0], [0.0, 90.0]]])  # fmt: skip
    odds = 1.0 - water / 200.0
    return xr.Dataset(
        {
            "season_water": (("point", "field", "plan"), water),
            "probability": (("point", "field", "plan", "stage"), odds[..., None]),
            "probability_se": (("point", "field", "plan", "stage"), 0.0 * odds[..., None]),
            "area_m2": (("point", "field"), np.full((3, 2), 1000.0)),
        },
        {
            "point": [0, 1, 2], "field": ["a", "b"], "plan": ["none", "refill"],
            "stage": ["wilt"], "trigger": ("point", [0.3, 0.4, 0.5]),
            "field_label": ("field", ["A", "B"]), "plan_label": ("plan", ["None", "Refill"]),
        },
        {
            "points_done": 3, "title": "t", "source": "s", "weather": "w", "identity": "{}",
            "axes": json.dumps(["trigger"]), "design": "grid",
        },
    )  # fmt: skip


def test_functions_of_points_give_what_the_names_give() -> None:
    def water(points):
        area = points["area_m2"]
        return (points["season_water"] * area).sum("field") / area.sum("field")

    def wilt(points):
        return points["probability"].sel(stage="wilt")  # of several fields the worst counts

    named = drysward.front(points(), "water", "wilt")
    own = drysward.front(points(), water, wilt)
    for name in ("cost", "risk"):
        np.testing.assert_array_equal(named[name], own[name])
    assert (own.attrs["cost"], own.attrs["risk"]) == ("water", "wilt")
    np.testing.assert_array_equal(
        measure(points(), wilt, "risk", plan="refill"),
        measure(points(), "wilt", "risk", plan="refill"),
    )
    drives = drysward.effects(points(), water, plan="refill")
    np.testing.assert_array_equal(
        drives["main"], drysward.effects(points(), "water", plan="refill")["main"]
    )


@pytest.mark.parametrize(
    ("function", "told"),
    [(lambda p: 3.0, "gives float"), (lambda p: p["probability"], "gives dimensions"),
     (lambda p: p["season_water"].mean(), "gives dimensions none")],
)  # fmt: skip
def test_a_function_that_gives_no_number_for_each_point_is_refused(function, told) -> None:
    with pytest.raises(FaultyInput, match=told):
        drysward.front(points(), cost=function)


def test_a_result_of_one_scenario_is_no_sweep(ran) -> None:
    with pytest.raises(FaultyInput, match="not of a sweep"):
        drysward.front(ran[1])


def test_front_files_have_units_in_their_heads(tmp_path: Path) -> None:
    choices = drysward.front(points())
    choices["trigger"].attrs["units"] = "in"
    for units, heads in (
        ("us", ["trigger (in)", "cost: water (in)"]),
        ("metric", ["trigger (mm)", "cost: water (mm)"]),
    ):
        (path,) = drysward.save(choices, tmp_path, units=units)
        head, first, *_ = path.read_text(encoding="utf-8").splitlines()
        row = dict(zip(head.split(","), first.split(","), strict=True))
        assert set(heads) <= row.keys()
    assert float(row["trigger (mm)"]) == pytest.approx(25.4 * float(choices["trigger"][0]))


def test_every_package_is_installed() -> None:
    root = Path(__file__).parents[2]
    built = tomllib.loads((root / "pyproject.toml").read_text())["tool"]["setuptools"]["packages"]
    there = {
        ".".join(init.parent.relative_to(root / "sim").parts)
        for init in (root / "sim" / "drysward").rglob("__init__.py")
    }
    assert there == set(built) - {"drysward.configs", "drysward.scenarios"}


@pytest.mark.parametrize(
    "name", ["run", "draws", "season", "hindcast", "size", "feeding_effect", "ledger"]
)
def test_a_path_in_place_of_a_scenario_is_told_to_be_loaded(name: str) -> None:
    more = ("a", "b", 2001) if name == "ledger" else ()
    with pytest.raises(FaultyInput) as refused:
        getattr(drysward, name)("mine/x.toml", *more)
    assert str(refused.value) == (
        'scenario: is the path of a scenario; load it first: drysward.load("mine/x.toml")'
    )


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (Path("x.toml"), 'load it first: drysward.load("x.toml")'),
        ("[site]\nlatitude = 40.0", "is the text of a scenario; load it first: drysward.loads("),
        ("demo", 'drysward.load("demo"), or drysward.shipped("demo")'),
        (None, "is a NoneType, not a scenario; load it first"),
    ],
)
def test_what_is_no_scenario_says_how_to_get_one(given: object, told: str) -> None:
    with pytest.raises(FaultyInput) as refused:
        drysward.run(given)  # type: ignore[arg-type]
    assert told in str(refused.value)


@pytest.mark.parametrize("name", ["answers", "summarize"])
def test_what_is_no_result_says_how_to_get_one(name: str) -> None:
    with pytest.raises(FaultyInput, match=r"result: is a str, not a result; run the scenario"):
        getattr(drysward, name)("x.toml")


def test_help_heads_a_function_by_its_public_name() -> None:
    for name in PUBLIC - TYPES:
        assert getattr(drysward, name).__name__ == name
        assert "doubt_answers" not in (inspect.getdoc(getattr(drysward, name)) or "")
