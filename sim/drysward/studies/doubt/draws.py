"""From ranges to draws: the numbers of a scenario that are not known, and sets of values of them.

Every draw is one way that soil, grass and delivery may really be. Draws are made to be crossed
with the same weather years. Sources: Sobol' points in a scrambled sequence and Latin hypercubes
(McKay, Beckman & Conover 1979) of scipy; a Gaussian copula for numbers that err together, as
Iman & Conover 1982 use it (both from memory).
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drysward import sequences
from drysward.catalog import SCENARIO, Catalog, Parameter, load_catalog
from drysward.faults import Fault, FaultyInput
from drysward.physics.intake import GENTLE, LEVEL, MODERATE, STRONG
from drysward.physics.pedotransfer import densest
from drysward.quantities import convert
from drysward.ranges import PERT, Range
from drysward.scenario.load import from_tree
from drysward.scenario.model import SKINNED, STANDS, FieldSpec, FittedNumbers, Scenario
from drysward.scenario.ranges import WrittenRange, taken_out
from drysward.scenario.resolved import Row, resolved_values
from drysward.scenario.schema import DELIVERY_NUMBERS, ROOT_ZONE_NUMBERS
from drysward.scenario.supply_tables import SUPPLY_NUMBERS
from drysward.scenario.trees import leaves, put_at
from drysward.special import ndtr, ndtri
from drysward.studies.doubt.together import known_together

# Points are kept this far from 0 and 1, where quantiles are infinite.
_EDGE = 1e-9


@dataclass(frozen=True)
class Doubtful:
    """A number that a scenario uses and that is not known for sure.

    ``key`` is its dotted key in the tables of a scenario, ``range`` what is known of it, in
    ``unit`` ("" where the tables hold a bare number). ``group`` and ``measure`` say what it
    belongs to and what a person could measure to know it; ``meaning`` explains it. ``name`` is its
    kind and name in ``vocabulary.toml``, and ``place`` the entry or table that holds it.
    ``fitted`` are its values in draws from readings, in the same order for all numbers.
    """

    key: str
    range: Range
    unit: str
    group: str
    measure: str
    name: str
    place: str
    meaning: str = ""
    fitted: tuple[float, ...] = field(default=(), repr=False)

    def quantile(self, u: NDArray[np.float64]) -> NDArray[np.float64]:
        """Values at the shares ``u`` of its distribution, that of its draws where it was fitted."""
        if self.fitted:
            return np.quantile(np.array(self.fitted), u)
        return self.range.quantile(u)

    def written(self, value: float) -> float | str:
        """``value`` as the tables of a scenario hold it."""
        number = float(value)
        return f"{number!r} {self.unit}" if self.unit else number


@dataclass(frozen=True, eq=False)
class Draws:
    """Sets of values of ``doubtful``: ``values`` and ``u`` are of the shape (draws, numbers).

    ``u`` are the shares that the draws rest on, even from 0 to 1 and independent of one
    another: the share of each number's distribution that lies below its value, before numbers were
    made to vary together and kept possible.
    """

    doubtful: tuple[Doubtful, ...]
    values: NDArray[np.float64] = field(repr=False)
    u: NDArray[np.float64] = field(repr=False)

    def units(self) -> list[str]:
        """Name of each number, the same for numbers that err together."""
        out = [one.key.removeprefix("overrides.") for one in self.doubtful]
        for row in notes().alike:
            for columns in _together(self.doubtful, row["names"]):
                for column in columns[1:]:
                    out[column] = out[columns[0]]
        return out

    def rows(self) -> list[dict[str, float | str]]:
        """For each draw the values by key, as the tables of a scenario hold them."""
        return [
            {
                number.key: number.written(value)
                for number, value in zip(self.doubtful, values, strict=True)
            }
            for values in self.values
        ]


@dataclass(frozen=True)
class Notes:
    """What ``vocabulary.toml`` says of numbers that are drawn, by ``kind.name``."""

    kinds: Mapping[str, Mapping[str, str]]
    names: Mapping[str, Mapping[str, str]]
    certain: Mapping[str, str]
    own: Mapping[str, Sequence[str]]
    forms: Mapping[str, str]
    alike: Sequence[Mapping[str, Any]]
    rising: Sequence[Mapping[str, Any]]

    def of(self, name: str) -> Mapping[str, str]:
        """Group and measure of the number ``kind.name``."""
        kind = name.partition(".")[0]
        return self.names.get(name) or self.kinds.get(kind) or self.kinds["supply"]


@cache
def notes() -> Notes:
    """The notes that ship with the package, read once."""
    return Notes(**tomllib.loads(load_catalog().texts["vocabulary"])["doubt"])


# --- what is not known ------------------------------------------------------------------------


def doubtful(scenario: Scenario) -> tuple[Doubtful, ...]:
    """Every number that the scenario uses and that has a range.

    Numbers that its fields share, such as those of a species, are one number; delivery and depth
    are one for each field. What a scenario writes without a range is certain, and so is what
    people choose or agree on. Numbers fitted to readings have the range of these.
    """
    if scenario.fitted is not None:
        return tuple(_as_fitted(scenario, scenario.fitted))
    found: dict[str, Doubtful] = {}
    rows = resolved_values(scenario)
    unused = _Unused(scenario)
    for row in rows:
        if row.parameter and row.key not in scenario.ranges:
            number = _of_catalog(scenario, row)
            if number is not None and not unused(row.parameter):
                found.setdefault(number.key, number)
    used = {row.parameter for row in rows}
    for key, written in scenario.ranges.items():
        parameter = key.removeprefix("overrides.")
        if parameter != key and (parameter not in used or unused(parameter)):
            continue
        number = _as_written(scenario, key, written)
        if not number.range.closed:
            found[key] = number
    return tuple(found.values())


def _as_fitted(scenario: Scenario, fitted: FittedNumbers) -> Iterator[Doubtful]:
    """What is not known of a scenario with numbers fitted to readings."""
    plain = tomllib.loads(scenario.text)
    plain.pop("fitted", None)
    before = from_tree(plain, scenario.folder, text=scenario.text, climate_is_checked=True)
    for one in doubtful(before):
        values = fitted.draws.get(one.key, ())
        if not values:
            yield one
            continue
        low, likely, high = (float(x) for x in np.quantile(values, [0.05, 0.5, 0.95]))
        yield replace(
            one,
            range=Range(low, likely, high, min(one.range.least, low), max(one.range.most, high)),
            fitted=values,
        )


def _of_catalog(scenario: Scenario, row: Row) -> Doubtful | None:
    kind, entry, name = row.parameter.split(".")
    number = scenario.catalog.get(kind, entry).parameter(name)
    full = f"{kind}.{name}"
    by_definition = number.note.startswith("by definition")
    if number.grade == SCENARIO or {kind, full} & set(notes().certain) or by_definition:
        return None
    uncertain = scenario.catalog.range_of(kind, entry, name)
    if uncertain.closed:
        return None
    together = known_together().range_of(scenario.catalog, row.parameter)
    if together is not None:
        uncertain = together
    if notes().forms.get(full) == PERT:
        uncertain = replace(uncertain, form=PERT)
    if full == "compaction.density_factor":
        most = max(_densest_of(scenario, entry), uncertain.likely)
        high, most = min(uncertain.high, most), min(uncertain.most, most)
        uncertain = replace(uncertain, high=high, most=most)
    own = name in notes().own.get(kind, ()) and row.key.startswith("fields.")
    key = row.key if own else f"overrides.{row.parameter}"
    unit = number.unit if own and number.unit != "1" else ""
    return _doubtful(scenario.catalog, key, uncertain, unit, full, number)


def _densest_of(scenario: Scenario, compaction: str) -> float:
    """Largest density factor that leaves all soils so compacted some available water."""
    factors = []
    for spec in scenario.fields:
        words = _zone_words(scenario, spec)
        if words.get("compaction") == compaction and not spec.root_zone.measured:
            soil = scenario.catalog.get("soils", words["soil"])
            texture = soil["sand"] / 100.0, soil["clay"] / 100.0
            factors.append(densest(*texture, soil["organic_matter"]))
    return min(factors, default=np.inf)


def _as_written(scenario: Scenario, key: str, written: WrittenRange) -> Doubtful:
    """A number whose range the scenario writes, with the limits of the catalog number like it."""
    number = _catalogs_like(scenario, key)
    least, most = (0.0 if written.low >= 0.0 else -np.inf), np.inf
    if number is not None:
        full = f"{number[0]}.{number[1].name}"
        limits, unit = scenario.catalog.meanings[number[1].name], number[1].unit
        per = convert(1.0, written.unit, unit) if written.unit else 1.0
        least, most = limits.low / per, limits.high / per
    else:
        full = _name_of(key)
        if not written.unit and written.low >= 0.0 and written.high <= 1.0:
            most = 1.0  # a share
        below, above = _neighbors(scenario, key)
        least, most = max(least, min(below, written.low)), min(most, max(above, written.high))
    uncertain = Range(
        written.low, written.likely, written.high, least, most, written.chance, written.form
    )
    like = number[1] if number else None
    return _doubtful(scenario.catalog, key, uncertain, written.unit, full, like)


def _name_of(key: str) -> str:
    """Kind and name, as in ``vocabulary.toml``, of a number that the catalog does not have."""
    parts = key.split(".")
    kind, last = parts[0], parts[-1]
    if kind == "fields" and parts[2] in notes().kinds:
        kind = parts[2]
    elif kind == "supply" and parts[1] == "sources":
        kind = "sources"
    return f"{kind}.{last}"


def _neighbors(scenario: Scenario, key: str) -> tuple[float, float]:
    """Certain numbers of the same table below and above which a number makes no sense."""
    table, _, last = key.rpartition(".")
    known: dict[str, float] = {}
    if key.startswith("fields.") and table.endswith(".root_zone"):
        known = dict(scenario.field_named(key.split(".")[1]).root_zone.measured)
    elif key.startswith("plans.") and table.count(".") == 1:
        plan = scenario.plan_named(key.split(".")[1])
        known = {"target": plan.target, "trigger": plan.trigger}
    for order in (("wilting_point", "field_capacity", "saturation"), ("target", "trigger")):
        if last in order:
            at = order.index(last)
            certain = [f"{table}.{name}" not in scenario.ranges for name in order]
            below = [known[order[i]] for i in range(at) if certain[i]]
            above = [known[order[i]] for i in range(at + 1, len(order)) if certain[i]]
            return max(below, default=-np.inf), min(above, default=np.inf)
    return -np.inf, np.inf


def _catalogs_like(scenario: Scenario, key: str) -> tuple[str, Parameter] | None:
    """Kind and number of the catalog that the key of a scenario replaces."""
    head, _, last = key.rpartition(".")
    catalog = scenario.catalog
    if key.startswith("overrides."):
        kind, entry, name = key.removeprefix("overrides.").split(".")
        return kind, catalog.get(kind, entry).parameter(name)
    if head.startswith("fields."):
        spec = scenario.field_named(head.split(".")[1])
        if head.endswith(".root_zone") and last in ROOT_ZONE_NUMBERS:
            entry_of = catalog.get("root_zones", spec.root_zone.like)
            return "root_zones", entry_of.parameter(ROOT_ZONE_NUMBERS[last])
        if head.endswith(".delivery") and last in DELIVERY_NUMBERS:
            entry_of = catalog.get("delivery", spec.delivery.system)
            return "delivery", entry_of.parameter(DELIVERY_NUMBERS[last])
    if head.startswith("supply.") and last in SUPPLY_NUMBERS:
        name = SUPPLY_NUMBERS[last]
        entries = catalog.entries["supply"].values()
        return "supply", next(e.parameter(name) for e in entries if name in e.numbers)
    return None


def _doubtful(
    catalog: Catalog, key: str, uncertain: Range, unit: str, full: str, number: Parameter | None
) -> Doubtful:
    noted = notes().of(full)
    meaning = catalog.meanings[number.name].meaning if number else ""
    place = key.rpartition(".")[0]
    return Doubtful(key, uncertain, unit, noted["group"], noted["measure"], full, place, meaning)


class _Unused:
    """Whether a number that stands in an entry which a scenario uses is not used itself."""

    def __init__(self, scenario: Scenario) -> None:
        catalog, self._scenario = scenario.catalog, scenario
        zones = [_zone_words(scenario, spec) for spec in scenario.fields]
        turf = [
            (spec, words)
            for spec, words in zip(scenario.fields, zones, strict=True)
            if spec.species
        ]
        on = {"sand": set[str](), "native": set[str](), "sod": set[str]()}
        for spec, words in turf:
            # Roots grow by the sand's depth in sand over gravel alone.
            on["sand" if words["kind"] == "sand over gravel" else "native"].add(spec.species)
            if spec.stand != STANDS[0]:
                on["sod"].add(spec.species)
        self._on = on
        # A turf that does not rest in winter has 0 here, and must not begin to by a draw.
        resting = {
            spec.species
            for spec, _ in turf
            if catalog.get("species", spec.species)["greenup_soil_c"] > 0.0
        }
        self._resting = resting
        by_texture = [
            (spec, words)
            for spec, words in zip(scenario.fields, zones, strict=True)
            if "soil" in words and not spec.root_zone.measured
        ]
        self._textured = {words["soil"] for _, words in by_texture}
        self._packed = {words["compaction"] for _, words in by_texture}
        self._intakes = {
            f"{words['soil']}.{name}"
            for spec, words in zip(scenario.fields, zones, strict=True)
            if words["kind"] == "native"
            for name in _intake_names(spec)
        }
        parts = (part for plan in scenario.plans for part in plan.parts)
        self._times = {part.time_of_day.replace(" ", "_") for part in parts}

    def __call__(self, parameter: str) -> bool:
        kind, entry, name = parameter.split(".")
        if kind == "species":
            if name in ("winter_kc", "greenup_soil_c"):
                return entry not in self._resting
            if name.startswith("root_depth_"):
                return entry not in self._on[name.removeprefix("root_depth_")]
            return name.startswith("sod_") and entry not in self._on["sod"]
        if kind == "turf_processes":
            return name in ("frost_brown_c", "greenup_weeks", "browning_days") and (
                not self._resting
            )
        if kind == "soils" and name in ("sand", "clay", "organic_matter"):
            return entry not in self._textured
        if kind == "compaction" and name == "density_factor":
            return entry not in self._packed
        if kind == "intake":
            return f"{entry}.{name}" not in self._intakes
        if kind == "curve_numbers":
            return entry != "good"
        if kind == "losses":
            return not any(entry.startswith(time) for time in self._times)
        return False


def _zone_words(scenario: Scenario, spec: FieldSpec) -> dict[str, str]:
    zone = scenario.catalog.get("root_zones", spec.root_zone.like)
    return {**zone.words, **spec.root_zone.words}


def _intake_names(spec: FieldSpec) -> Iterator[str]:
    """What a native field's slope and cover take from ``intake.toml``."""
    cover = "bare" if spec.surface == SKINNED else "covered"
    for limit, name in ((GENTLE, "to_5"), (MODERATE, "to_8"), (STRONG, "to_12")):
        if spec.slope <= limit:
            yield f"intake_{cover}_{name}"
            break
    else:
        yield f"intake_{cover}_steeper"
    yield "surface_storage"
    if spec.slope > LEVEL:
        yield "surface_storage_steep"


# --- draws ------------------------------------------------------------------------------------


def draw(numbers: Sequence[Doubtful], n: int, seed: int) -> Draws:
    """``n`` draws of ``numbers``: Sobol' points when n is a power of two, else a Latin hypercube.

    The first draws of a power of two are those of any smaller one with the same seed.
    """
    u = even_shares(len(numbers), n, seed)
    shares = varying_together(u, [number.key for number in numbers], fitted_together(numbers))
    return draws_at(numbers, u, shares)


def even_shares(d: int, n: int, seed: int | Sequence[int]) -> NDArray[np.float64]:
    """``n`` points (n, d) spread evenly between 0 and 1, as ``draw`` has them."""
    if n < 1:
        raise ValueError(f"{n} draws are none")
    if not d:
        return np.empty((n, 0))
    stream = np.random.default_rng(seed)
    if n & (n - 1) == 0:
        points = sequences.Sobol(d, scramble=True, rng=stream).random_base2(n.bit_length() - 1)
    else:
        points = sequences.LatinHypercube(d, rng=stream).random(n)
    return np.clip(points, _EDGE, 1.0 - _EDGE)


def draws_at(
    numbers: Sequence[Doubtful], u: NDArray[np.float64], shares: NDArray[np.float64]
) -> Draws:
    """Draws of ``numbers`` at ``shares`` (draws, numbers), made of the independent ``u``."""
    if not numbers:
        return Draws((), u, u)
    columns = [number.quantile(shares[:, i]) for i, number in enumerate(numbers)]
    return Draws(tuple(numbers), _kept_possible(np.column_stack(columns), numbers), u)


def fitted_together(numbers: Sequence[Doubtful]) -> dict[str, NDArray[np.float64]]:
    """Normal scores (N,) by key of the draws of the numbers that were fitted to readings."""
    return {
        one.key: ndtri((np.argsort(np.argsort(one.fitted)) + 0.5) / len(one.fitted))
        for one in numbers
        if one.fitted
    }


def varying_together(
    u: NDArray[np.float64],
    keys: Sequence[str],
    fitted: Mapping[str, NDArray[np.float64]] | None = None,
) -> NDArray[np.float64]:
    """Shares (K, d) of the distributions of the numbers of ``keys``, correlated as
    ``correlations`` gives, from the independent shares ``u``.

    By a Gaussian copula. The root of the correlations is the symmetric one: each number then lies
    as close as can be to its own score, so that the effect of a score stands for the effect of its
    number (Kessy, Lewin & Strimmer 2018, American Statistician 72:309). Numbers ``fitted`` to
    readings are correlated as their scores are, and with no others.
    """
    correlation = correlations(keys)
    if fitted:
        here = [i for i, key in enumerate(keys) if key in fitted]
        correlation[here], correlation[:, here] = 0.0, 0.0
        scores = np.array([fitted[keys[i]] for i in here])
        correlation[np.ix_(here, here)] = np.corrcoef(scores).reshape(len(here), len(here))
    if np.array_equal(correlation, np.eye(len(keys))):
        return u
    values, vectors = np.linalg.eigh(correlation)
    root = vectors * np.sqrt(np.maximum(values, 0.0)) @ vectors.T
    # Small correlations are not kept, which can leave less than nothing along some direction.
    root /= np.sqrt((root**2).sum(axis=1, keepdims=True))
    # Not a matrix product: its last bits may depend on how many draws there are.
    scores = np.einsum("nd,ed->ne", ndtri(u), root)
    return np.clip(ndtr(scores), _EDGE, 1.0 - _EDGE)


def correlations(keys: Sequence[str]) -> NDArray[np.float64]:
    """Correlations (d, d) of the normal scores of numbers of the catalog: of those that are known
    together, and of those of one entry that err alike as ``[[doubt.alike]]`` says.
    """
    out = np.eye(len(keys))
    parts = [key.removeprefix("overrides.").split(".") for key in keys]
    places = {
        tuple(part): i
        for i, (key, part) in enumerate(zip(keys, parts, strict=True))
        if key.startswith("overrides.")
    }
    for row in notes().alike:
        names = [name.split(".") for name in row["names"]]
        for entry in {part[1] for part in places if part[0] == names[0][0]}:
            full = [(kind, entry, name) for kind, name in names]
            here = [places[one] for one in full if one in places]
            out[np.ix_(here, here)] = float(row["correlation"])
    for one, others in known_together().along.items():
        i = places.get(tuple(one.split(".")))
        for other, r in others.items() if i is not None else ():
            j = places.get(tuple(other.split(".")))
            if j is not None:
                out[i, j] = out[j, i] = r
    np.fill_diagonal(out, 1.0)
    return out


def _together(numbers: Sequence[Doubtful], names: Sequence[str]) -> list[list[int]]:
    """Columns of the numbers called ``names``, in that order, for each entry that has them."""
    places: dict[str, dict[str, int]] = {}
    for i, number in enumerate(numbers):
        if number.name in names:
            places.setdefault(number.place, {})[number.name] = i
    return [[here[name] for name in names if name in here] for here in places.values()]


def _kept_possible(values: NDArray[np.float64], numbers: Sequence[Doubtful]) -> NDArray[np.float64]:
    """Values that rise where ``[[doubt.rising]]`` says so, and textures that leave room for silt.

    Of two numbers in the wrong order the later is lifted to ``gap`` above the earlier. Sand and
    clay over 100% give up clay, and no soil is packed until it holds no available water.
    Written ranges of different units are left as they are.
    """
    for row in notes().rising:
        for columns in _together(numbers, row["names"]):
            for lower, upper in pairwise(columns):
                if numbers[lower].unit == numbers[upper].unit:
                    least = values[:, lower] + row["gap"]
                    values[:, upper] = np.maximum(values[:, upper], least)
    for columns in _together(numbers, ("soils.sand", "soils.clay")):
        if len(columns) == 2:
            sand, clay = columns
            values[:, clay] = np.minimum(values[:, clay], 100.0 - values[:, sand])
    packed = [i for i, number in enumerate(numbers) if number.name == "compaction.density_factor"]
    textures = _together(numbers, ("soils.sand", "soils.clay", "soils.organic_matter"))
    for columns in textures if packed else ():
        if len(columns) == 3:
            most = [densest(s / 100.0, c / 100.0, om) for s, c, om in values[:, columns]]
            values[:, packed] = np.minimum(values[:, packed], np.array(most)[:, None])
    limits = np.array([(number.range.least, number.range.most) for number in numbers])
    return np.clip(values, limits[:, 0], limits[:, 1])


# --- scenarios --------------------------------------------------------------------------------


def drawn_scenarios(
    scenario: Scenario, rows: Iterable[Mapping[str, float | str]]
) -> Iterator[Scenario]:
    """The scenario with its values replaced by those of each draw of ``rows``.

    Weather is that of ``scenario``, whatever its text says. FaultyInput where the scenario was
    not read from text, or a value cannot be.
    """
    if not scenario.text:
        raise FaultyInput(Fault("draws", "the scenario has no text to be drawn from"))
    plain, _, _ = taken_out("scenario", tomllib.loads(scenario.text))
    for i, row in enumerate(rows, start=1):
        drawn = from_tree(
            placed(plain, row),
            scenario.folder,
            f"draw {i}",
            scenario.text,
            climate_is_checked=True,
        )
        yield replace(
            drawn, weather=scenario.weather, written=scenario.written, ranges=scenario.ranges
        )


def placed(tables: dict[str, Any], row: Mapping[str, float | str]) -> dict[str, Any]:
    """``tables`` of a scenario with the values of ``row`` at their dotted keys."""
    out = dict(tables)
    out.pop("fitted", None)  # a draw has its own numbers in place of the likely ones
    overrides = dict(leaves(tables.get("overrides", {})))
    for key, value in row.items():
        if key.startswith("overrides."):
            overrides[key.removeprefix("overrides.")] = value
        else:
            put_at("draw", out, key, value)
    if overrides:
        out["overrides"] = overrides
    return out
