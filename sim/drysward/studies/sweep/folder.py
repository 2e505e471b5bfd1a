"""The folder of a sweep: what it holds, chunks written whole, and all of them as one Dataset.

``sweep.json`` says which sweep it is; ``chunk-000012.nc`` holds the points of chunk 12. A file
is written under another name, sealed, made safe on the disk and renamed: a process that is killed
leaves whole files. What happens to them later is found by their seals, of which a chunk's holds the
sweep and its number too. Chunks are NetCDF 3: any reader takes them, and scipy reads them in many
threads at once and ten times faster than the library of NetCDF 4 opens a file.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from functools import cache
from importlib.resources import files
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from pydantic import TypeAdapter
from scipy.io import netcdf_file

from drysward import CITATION, __version__
from drysward.catalog import load_catalog
from drysward.day.records import CAUSES, MONTHS, STAGES
from drysward.drive.runs import PLANS_TOGETHER
from drysward.faults import Fault, FaultyInput
from drysward.files import Write, claim_folder, write_whole
from drysward.locks import locked
from drysward.results.cf import CONVENTIONS
from drysward.results.dataset import CAUTIONS
from drysward.results.days import day_coordinates
from drysward.results.terms import SHOWN_IN, stage_coordinate, with_terms
from drysward.results.text import FINDINGS, MADE_YEARS
from drysward.scenario.model import PlanSpec, WeatherSource
from drysward.seals import SEALED_BY, UNSEALED, is_whole, seal
from drysward.site.stretches import turf_year_of
from drysward.studies.sweep import MANIFEST, chunk_name
from drysward.studies.sweep.description import Sweep, sweep_of
from drysward.studies.sweep.design import Design, design_of
from drysward.studies.sweep.points import Point

if TYPE_CHECKING:
    from drysward.studies.sweep.chunk import Arrays
    from drysward.studies.sweep.shared import Years

# Work of a chunk, in years of one plan on one field: 2 to 5 s of a core, which a stop may lose.
CHUNK_YEARS = 30_000
# A sweep has so many chunks at least where it has points, for the cores to share.
LEAST_CHUNKS = 16
# Points that share their fields share those of each draw: so many at least are in a chunk, though
# it then takes longer. With two, a sweep took a sixth longer than with eight; with four, no longer
# than could be seen above the noise of a busy machine.
SHARING_DRAWS = 4
# Weather and fields of more years than these do not stay in memory from chunk to chunk. A chunk
# then has more points, a quarter of all or so many, to share what is made for it, as far as their
# yearly numbers (years of one plan on one field) have room.
HELD_FIELD_YEARS = 1000
SHARING_POINTS = 64
MOST_CHUNK_YEARS = 3_000_000


DrawnNumber = tuple[str, str, str]
"""Key, unit and group of a number that points draw."""


@dataclass(frozen=True)
class Manifest:
    """Which sweep a folder holds; ``identity`` is compared when the sweep goes on.

    ``drawn`` are the numbers that points draw, in the order of their columns.
    """

    name: str
    text: str
    base_name: str
    base_text: str
    folder: str
    points: int
    chunk_points: int
    years: tuple[int, ...]
    fields: tuple[tuple[str, str], ...]
    plans: tuple[tuple[str, str], ...]
    periods: tuple[float, ...]
    reached: tuple[float, ...]
    reached_days: int
    condition: tuple[float, float]
    independent_years: int
    weather: str
    dates: tuple[str, str]
    identity: dict[str, str]
    draws: int = 0
    drawn: tuple[DrawnNumber, ...] = ()
    findings: tuple[str, ...] = ()
    simulated_years: int = 0
    southern: bool = False

    @property
    def chunks(self) -> int:
        return -(-self.points // self.chunk_points)

    @property
    def site_years(self) -> int:
        """Years of a site under one plan, all points and their draws together."""
        return self.points * self.site_years_of_point

    @property
    def site_years_of_point(self) -> int:
        return len(self.plans) * len(self.years) * max(self.draws, 1)

    def numbers(self, chunk: int) -> range:
        """Points of a chunk."""
        start = chunk * self.chunk_points
        return range(start, min(start + self.chunk_points, self.points))

    def is_chunk(self, chunk: int) -> str:
        """What a file of points must be, for its seal."""
        return f"chunk {chunk} of {json.dumps(self.identity, sort_keys=True)}"

    def sweep(self) -> Sweep:
        return sweep_of(self.name, self.text, self.base_name, self.base_text, self.folder)


_READER = TypeAdapter(Manifest)


def manifest_of(
    design: Design,
    first: Point,
    years: Years,
    findings: Sequence[str] = (),
    drawn: tuple[DrawnNumber, ...] = (),
) -> Manifest:
    """What the folder of a sweep says of it; ``first`` is its first point, ``drawn`` are the
    numbers that points draw.

    ``findings`` are sentences on the weather files of its points.
    """
    sweep, scenario = design.sweep, first.scenario
    counted = years.spans.years
    return Manifest(
        name=sweep.name,
        text=sweep.text,
        base_name=sweep.base_name,
        base_text=sweep.base_text,
        folder=str(sweep.folder.resolve()),
        points=design.n,
        chunk_points=_chunk_points(
            design.n, len(scenario.fields), len(first.plans), len(counted), sweep.draws,
            design.n // design.groups[1],
        ),
        years=counted,
        fields=tuple((field.key, field.label) for field in scenario.fields),
        plans=tuple((plan.key, _label(sweep, plan)) for plan in first.plans),
        periods=tuple(scenario.answers.return_periods),
        reached=tuple(scenario.answers.reached[stage] for stage in STAGES),
        reached_days=scenario.answers.reached_days,
        condition=(
            scenario.answers.playing_condition.green, scenario.answers.playing_condition.wilt,
        ),
        independent_years=min(years.series.independent_years or len(counted), len(counted)),
        weather=years.series.description,
        dates=(str(years.series.first), str(years.series.stop)),
        identity={
            "the sweep file": _digest(sweep.text),
            "the base scenario": _digest(sweep.base_text),
            "a weather file": _weather_digest(design),
            "the catalog": load_catalog().digest(),
            "the program": program_digest(),
        },
        draws=sweep.draws,
        drawn=drawn,
        findings=tuple(findings),
        simulated_years=years.series.n_simulated,
        southern=scenario.site.latitude_deg < 0.0,
    )


def _label(sweep: Sweep, plan: PlanSpec) -> str:
    """The label of a plan; its key and the axes that vary it, which a label cannot describe."""
    own = f"plans.{plan.key}."
    axes = [axis.name for axis in sweep.axes if any(key.startswith(own) for key in axis.keys)]
    return f"{plan.key}, {' and '.join(axes)} varied" if axes else plan.label


def _chunk_points(
    points: int, fields: int, plans: int, years: int, draws: int, sharing: int
) -> int:
    """Points of a chunk; the same on every machine, so that a sweep goes on anywhere.

    ``sharing`` is how many points have the same fields.
    """
    of_a_point = fields * plans * years
    size = min(CHUNK_YEARS // (of_a_point * max(draws, 1)), -(-points // LEAST_CHUNKS))
    least = 1
    if draws:
        least = min(SHARING_DRAWS, sharing, -(-points // 4))
    elif fields * years > HELD_FIELD_YEARS:
        least = min(SHARING_POINTS, -(-points // 4), MOST_CHUNK_YEARS // of_a_point)
    size = max(size, least, 1)
    # Whole blocks of lanes.
    return size - size % PLANS_TOGETHER if size > PLANS_TOGETHER else size


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _weather_digest(design: Design) -> str:
    """Digest of every weather file that a point may read."""
    sweep = design.sweep
    names = {sweep.base.get("weather", {}).get("file")}
    for axis in sweep.axes:
        for change in axis.changes:
            names.add(change.get("weather.file"))
            table = change.get("weather")
            names.add(table.get("file") if isinstance(table, dict) else None)
    sha = hashlib.sha256()
    for name in sorted(str(name) for name in names if name):
        path = sweep.folder / name
        sha.update(name.encode() + (path.read_bytes() if path.is_file() else b""))
    return sha.hexdigest()


@cache
def program_digest() -> str:
    """Digest of the version and of every source file of the package that may alter a number."""
    sha = hashlib.sha256(__version__.encode())
    home = Path(str(files("drysward")))
    for path in sorted(home.rglob("*.py")):
        name = path.relative_to(home).as_posix()
        if not name.startswith(("cli/", "pages/", "screen/")):
            sha.update(name.encode() + path.read_bytes())
    return sha.hexdigest()


# --- the folder --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Chunks:
    """Chunks of a folder by number: done, and with a file that is not what was written."""

    done: tuple[int, ...]
    damaged: tuple[int, ...]


@contextmanager
def claimed(folder: Path, expected: Manifest) -> Iterator[Chunks]:
    """Claim ``folder`` for this sweep alone; yields the chunks that are there.

    Unfinished files and damaged chunks are deleted. FaultyInput when another process
    has the folder; when it holds another sweep, or this one of another scenario, weather, catalog
    or program; or when it cannot be read or written.
    """
    claim_folder(folder)
    with locked(folder):
        _claim(folder, expected)
        there = look_through(folder, expected)
        half = (part for name in ("chunk-*", MANIFEST) for part in folder.glob(f".{name}-*.part"))
        for left in (*half, *(chunk_path(folder, i) for i in there.damaged)):
            left.unlink(missing_ok=True)
        yield there


def _claim(folder: Path, expected: Manifest) -> None:
    """Check that ``folder`` is that of this sweep, or write its manifest."""
    there = _manifest_in(folder)
    if there is not None:
        changed = [
            part for part, digest in expected.identity.items() if there.identity.get(part) != digest
        ]
        if changed:
            reason = f"was begun with another state of {' and '.join(changed)}"
            raise FaultyInput(
                Fault(str(folder), reason, "put that back, or name a new folder with --out")
            )
        return
    # Without a manifest a chunk says by its seal whether it is of this sweep.
    if any(folder.glob("chunk-*.nc")) and not look_through(folder, expected).done:
        reason = f"holds no whole {MANIFEST}, and no whole chunk of this sweep"
        raise FaultyInput(Fault(str(folder), reason, "name a new folder with --out"))
    text = json.dumps({"digest": UNSEALED, **asdict(expected)}, indent=1)
    _write(folder / MANIFEST, MANIFEST, lambda part: part.write_text(text, encoding="utf-8"))


def read_manifest(folder: Path) -> Manifest:
    """FaultyInput when the folder holds no sweep, or its manifest is not what was written."""
    there = _manifest_in(folder)
    if there is not None:
        return there
    if not (folder / MANIFEST).exists():
        allowed = "a folder that 'drysward sweep SWEEP --out FOLDER' has written"
        raise FaultyInput(Fault(str(folder), "holds no sweep", allowed))
    allowed = f"run 'drysward sweep SWEEP --out {folder}' again: it makes it anew"
    raise FaultyInput(Fault(str(folder / MANIFEST), "is not what was written", allowed))


def _manifest_in(folder: Path) -> Manifest | None:
    """None when there is none, or it is not what was written."""
    path = folder / MANIFEST
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise FaultyInput(Fault(str(path), f"cannot be read: {error.strerror}")) from None
    whole = is_whole(BytesIO(content), MANIFEST)
    try:
        there = _READER.validate_json(content)
    except ValueError:
        if not whole:
            return None
    else:
        if whole:
            return there
        if SEALED_BY in content:
            return None
    # Whole but of other keys, or in order but never sealed.
    reason = "was written by another version of drysward, whose files cannot be checked"
    allowed = "run the sweep again into a new folder"
    raise FaultyInput(Fault(str(folder), reason, allowed))


def chunk_path(folder: Path, chunk: int) -> Path:
    return folder / chunk_name(chunk)


def chunks_there(folder: Path, manifest: Manifest) -> list[int]:
    """Chunks that have a file."""
    names = {entry.name for entry in os.scandir(folder)}
    return [i for i in range(manifest.chunks) if chunk_path(folder, i).name in names]


def look_through(folder: Path, manifest: Manifest) -> Chunks:
    """Every chunk that has a file, held to its seal. FaultyInput when one cannot be read."""
    there = chunks_there(folder, manifest)

    def holds(chunk: int) -> bool:
        path = chunk_path(folder, chunk)
        try:
            with path.open("rb") as file:
                return is_whole(file, manifest.is_chunk(chunk))
        except OSError as error:
            raise FaultyInput(Fault(str(path), f"cannot be read: {error.strerror}")) from None

    with ThreadPoolExecutor() as pool:
        whole = dict(zip(there, pool.map(holds, there), strict=True))
    return Chunks(
        done=tuple(i for i in there if whole[i]), damaged=tuple(i for i in there if not whole[i])
    )


def write_chunk(folder: Path, manifest: Manifest, chunk: int, kept: Arrays) -> None:
    """Write the points of a chunk whole. FaultyInput when there is no room, or no leave."""

    def write(part: Path) -> None:
        with netcdf_file(part, "w", version=2) as file:
            file.digest = UNSEALED
            file.Conventions = CONVENTIONS
            file.title = manifest.name
            file.source = f"drysward {__version__}"
            file.history = f"simulated by drysward {__version__}"
            file.comment = f"{MANIFEST} says which fields, plans and years these are"
            for name, (dims, values) in kept.items():
                for dimension, size in zip(dims, values.shape, strict=True):
                    if dimension not in file.dimensions:
                        file.createDimension(dimension, size)
                variable = file.createVariable(name, values.dtype, dims)
                variable[:] = values
                for attribute, text in attributes_of(name, manifest.draws).items():
                    setattr(variable, attribute, text)
            numbers = np.array(manifest.numbers(chunk), np.int32)
            point = file.createVariable("point", numbers.dtype, ("point",))
            point[:] = numbers
            point.units, point.long_name = "1", "number of the point in the sweep"

    _write(chunk_path(folder, chunk), manifest.is_chunk(chunk), write)


def _write(path: Path, what: str, write: Write) -> None:
    """A file that a function fills, sealed as ``what``."""

    def sealed(part: Path) -> None:
        write(part)
        with part.open("rb+") as file:
            seal(file, what)

    kept = "what is done is kept; make room or leave to write, then the same command goes on"
    write_whole({path: sealed}, lasting=True, remedy=kept)


# --- the chunks as one Dataset -----------------------------------------------------------------


def open_sweep(folder: str | Path) -> xr.Dataset:
    """All points of a sweep's folder that are done, as one lazy Dataset.

    Dimension ``point`` with a coordinate for each axis; field, plan, stage, period, month and
    year as in a run. Yearly series are in single precision, everything else in double. Values
    are read, a chunk at a time, when they are used, and no file stays open. The attribute
    ``points_done`` counts how many of ``points`` are there.

    FaultyInput when the folder holds no sweep, or a file in it is not what was written.
    """
    folder = Path(folder)
    manifest = read_manifest(folder)
    design = design_of(manifest.sweep())
    there = _whole_chunks(folder, manifest)
    numbers = np.concatenate([np.array(manifest.numbers(i)) for i in there] or [np.zeros(0, int)])
    out = xr.Dataset(attrs=_attributes(manifest, design, numbers.size))
    if there:
        out = out.assign(_variables(folder, manifest, there))
    axes = {name: variable[numbers] for name, variable in design.coordinates().items()}
    out = out.assign_coords(axes).assign_coords(
        point=numbers.astype(np.int64),
        field=[key for key, _ in manifest.fields],
        plan=[key for key, _ in manifest.plans],
        field_label=("field", [label for _, label in manifest.fields]),
        plan_label=("plan", [label for _, label in manifest.plans]),
        year=np.array(manifest.years, np.int32),
        stage=stage_coordinate(),
        reached=("stage", list(manifest.reached)),
        period=list(manifest.periods),
        month=np.arange(1, MONTHS + 1, dtype=np.int32),
    )
    if "cause" in out.dims:
        out = out.assign_coords(cause=list(CAUSES))
    if "draw" in out.dims:
        out = out.assign_coords(
            draw=np.arange(1, manifest.draws + 1),
            drawn_number=np.array([key for key, _, _ in manifest.drawn], dtype=str),
            unit=("drawn_number", np.array([unit for _, unit, _ in manifest.drawn], dtype=str)),
            group=("drawn_number", np.array([group for _, _, group in manifest.drawn], dtype=str)),
        )
    if design.sweep.daily:
        days = np.arange(*manifest.dates, dtype="datetime64[D]")
        simulated = manifest.simulated_years > 0
        years = turf_year_of(days, manifest.southern) - (_year_before(days) if simulated else 0)
        out = out.assign_coords(day_coordinates(days, years, simulated, "year_of_day"))
    return with_terms(out, of="daily_")


def _year_before(days: NDArray[np.datetime64]) -> int:
    """Calendar year before that of the first day."""
    return int(days[0].astype("datetime64[Y]").astype(int)) + 1969


def _whole_chunks(folder: Path, manifest: Manifest) -> tuple[int, ...]:
    """Chunks that are done; FaultyInput when there are damaged ones."""
    there = look_through(folder, manifest)
    if there.damaged:
        first, *more = (chunk_path(folder, i) for i in there.damaged)
        reason = "is not what was written"
        if more:
            reason += f", nor are {len(more)} other chunk{'s' if len(more) > 1 else ''}"
        anew = f"run 'drysward sweep {manifest.name} --out {folder}' again"
        allowed = f"{anew}: it makes the damaged chunks anew"
        raise FaultyInput(Fault(str(first), reason, allowed))
    return there.done


def _variables(folder: Path, manifest: Manifest, there: Sequence[int]) -> dict[str, xr.Variable]:
    import dask.array as da

    sizes = tuple(len(manifest.numbers(i)) for i in there)
    out = {}
    for name, (dims, shape, dtype) in _shapes(chunk_path(folder, there[0])).items():
        lazy = da.map_blocks(
            _Reader(folder, tuple(there), name),
            dtype=dtype,
            chunks=(sizes, *((n,) for n in shape[1:])),
            name=f"sweep-{name}-{_digest(f'{folder.resolve()}{there}')[:12]}",
            meta=np.empty((0,) * len(dims), dtype),
        )
        out[name] = xr.Variable(dims, lazy, attributes_of(name, manifest.draws))
    return out


def attributes_of(name: str, draws: int) -> dict[str, str]:
    """Unit and meaning of a variable of points with so many draws within each."""
    return _attrs_of_draws(name, draws) if draws else _attrs_of(name)


def _attrs_of(name: str) -> dict[str, str]:
    """Unit and meaning of a variable."""
    key, how = _parts_of(name)
    catalog = load_catalog()
    whole = catalog.derived.get(name)
    part = catalog.quantities.get(key) or catalog.derived.get(key)
    attrs = {"units": "1", "long_name": f"{how}{key.replace('_', ' ')}"}
    if whole is not None:
        attrs = {"units": whole.units, "long_name": whole.long_name}
    elif part is not None:
        attrs = {"units": part.units, "long_name": f"{how}{part.long_name}"}
    return attrs | _ATTRIBUTES.get(name, {})


def _attrs_of_draws(name: str, draws: int) -> dict[str, str]:
    """The same where points have draws."""
    if name == "drawn":
        return {"long_name": "value drawn of a number, in its unit; NaN where it is not drawn"}
    base, how = name, f"mean over {draws} draws of what is not known"
    if name in ("area_m2", "residual"):
        return _attrs_of(name)
    if name.endswith("_se"):
        how = f"of the years in the mean over {draws} draws of what is not known"
    if name.startswith("draw_"):
        base, how = name.removeprefix("draw_"), "of each draw"
    for end, share in (("_low", 5), ("_high", 95)):
        if name.endswith(end):
            base = name.removesuffix(end)
            how = f"{share}% across draws, the noise of the years taken out"
    attrs = _attrs_of(base)
    if "long_name" in attrs:
        attrs["long_name"] += f", {how}"
    return attrs




_ATTRIBUTES: Mapping[str, dict[str, str]] = {
    "probability": {"units": "1", "long_name": "odds that a year reaches the stage"},
    "probability_se": {"units": "1", "long_name": "sampling error of the odds"},
    "days_mean": {"units": "d", "long_name": "mean days a year at the stage"},
    "days_below_condition_se": {
        "units": "d", "long_name": "sampling error of the mean days below playing condition",
    },
    "days_below_condition_1in10": {
        "units": "d", "long_name": "days below playing condition in the worst year in ten",
    },
    "season_water": {"units": "mm", "long_name": "mean water a year, as drawn"},
    "site_water": {"units": "m3", "long_name": "mean water a year of the whole site"},
    "peak_week_most": {"units": "mm", "long_name": "irrigation of the largest week, as drawn"},
    "demand": {"units": "mm", "long_name": "demand of a year of the period"},
    "area_m2": {"units": "m2", "long_name": "area of the field"},
    "residual": {"units": "mm", "long_name": "largest error of the account on any day"},
    "supply_shortage_odds": {"units": "1", "long_name": "odds that a year has shortage"},
}


def _parts_of(name: str) -> tuple[str, str]:
    """``drainage_mean`` as "drainage" and "mean of ": what a name is made of."""
    for end, how in (("_mean", "mean of "), ("_most", "most in any year of ")):
        if name.endswith(end):
            return name.removesuffix(end), how
    return name.removeprefix("daily_"), ""


@dataclass(frozen=True)
class _Reader:
    """One variable of one chunk, read when a block of the lazy array is computed."""

    folder: Path
    there: tuple[int, ...]
    name: str

    def __call__(self, block_info: Any = None) -> np.ndarray:
        place = block_info[None]["chunk-location"][0]
        path = chunk_path(self.folder, self.there[place])
        with netcdf_file(path, mmap=False) as file:
            variable = file.variables[self.name]
            # Numbers of this format are written most significant byte first.
            return variable.data.astype(variable.data.dtype.newbyteorder("="))


def _shapes(path: Path) -> dict[str, tuple[tuple[str, ...], tuple[int, ...], np.dtype]]:
    """Dimensions, shape and type of every variable of a chunk."""
    with netcdf_file(path, mmap=False) as file:
        return {
            name: (variable.dimensions, variable.shape, variable.data.dtype.newbyteorder("="))
            for name, variable in file.variables.items()
            if name != "point"
        }


def _attributes(manifest: Manifest, design: Design, done: int) -> dict[str, Any]:
    sweep = design.sweep
    of_draws = {"draws": manifest.draws, "numbers_drawn": len(manifest.drawn)}
    weather = sweep.base.get("weather", {})
    varies = any("weather.seed" in axis.keys for axis in sweep.axes)
    return {
        "Conventions": CONVENTIONS,
        "title": sweep.title,
        SHOWN_IN: sweep.units,
        "source": f"drysward {__version__}",
        "history": f"simulated by drysward {__version__}",
        "citation": CITATION,
        "sweep": manifest.text,
        "scenario": manifest.base_text,
        "identity": json.dumps(manifest.identity),
        "axes": json.dumps([axis.name for axis in sweep.axes]),
        "linked": json.dumps({axis.name: axis.linked for axis in sweep.axes}),
        "design": sweep.kind,
        "design_seed": sweep.seed,
        **({} if varies else {"weather_seed": int(weather.get("seed", WeatherSource.seed))}),
        "weather": manifest.weather,
        MADE_YEARS: manifest.simulated_years,
        FINDINGS: json.dumps(manifest.findings),
        "reached_days": manifest.reached_days,
        "condition_green": manifest.condition[0],
        "condition_wilt": manifest.condition[1],
        "independent_years": manifest.independent_years,
        "points": manifest.points,
        "points_done": done,
        "precision": "yearly and daily series: single; all else: double",
        "cautions": " ".join(CAUTIONS),
        **(of_draws if manifest.draws else {}),
    }
