"""Feeding in a scenario file: the doses of a year, one by one or as a named feeding plan."""

import re
import tomllib
from calendar import monthrange
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from math import ceil
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, model_validator

from drysward.catalog import Catalog, Entry, load_catalog
from drysward.faults import Fault, FaultyInput, quoted
from drysward.quantities import CONCENTRATION, CONDUCTIVITY, FEED, LENGTH, TIME
from drysward.scenario.model import DoseSpec, FeedingSpec, Scenario, SlowPart
from drysward.scenario.values import (
    AS_SHARE,
    DayOfYear,
    Described,
    Flaws,
    Part,
    SomeShare,
    WholeDays,
    day_text,
    in_table,
    one_of,
    quantity,
    refuse,
)

QUICK_FORMS = ("urea", "ammonium", "nitrate")
COATED_FORMS = ("sulfur-coated urea", "polymer-coated urea")
MORE_ON_SAND = (1.25, 1.5)  # from memory
SLOW_FORMS = (*COATED_FORMS, "methylene urea", "natural organic", "compost")
RETURNED, REMOVED = CLIPPINGS = ("returned", "removed")
LOW, ENOUGH, HIGH = SOIL_TESTS = ("low", "enough", "high")

P_OF_P2O5 = 0.4364  # by weight
K_OF_K2O = 0.8301
MOST_NITROGEN_KG_HA = 1000.0  # 20 lb/1000 ft2 in one dose is a typing error (own estimate)
MOST_PRODUCT_KG_HA = 100_000.0
MOST_DOSES = 60
MOST_SLOW_KINDS = 3
"""Kinds of slow nitrogen, by form and rating, of one field."""

DAYS_BETWEEN_PARTS = 14
DAYS_A_WEEK = 7
_YEAR = 366
_LEAP_DAY = 59  # 29 February
_NO_LEAP_YEAR = 2001
_CLOSE = 1e-3  # shares such as 0.333 three times; a rate in rounded units


class TooManyParts(ValueError):
    """Doses that cannot be put down in parts within a year."""


# --- what a dose is ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Analysis:
    """Shares by weight of nitrogen, P2O5 and K2O in a product, and the text on its bag."""

    nitrogen: float
    p2o5: float
    k2o: float
    text: str


_ON_A_BAG = re.compile(r"\s*{0}\s*-\s*{0}\s*-\s*{0}\s*".format(r"(\d{1,3}(?:\.\d{1,4})?)"))
_ANALYSIS = 'N-P2O5-K2O in percent, as on the bag: "25-0-10"'


def analysis(text: object) -> Analysis:
    """``"25-0-10"`` as shares; ValueError when it is no analysis of a product."""
    found = _ON_A_BAG.fullmatch(text) if isinstance(text, str) else None
    if found is None:
        raise ValueError(f"{quoted(text)} is not an analysis; {_ANALYSIS}")
    n, p, k = (float(number) / 100.0 for number in found.groups())
    if not 0.0 < n + p + k <= 1.0:
        raise ValueError(f"{quoted(text)} adds up to {100.0 * (n + p + k):g}%; {_ANALYSIS}")
    return Analysis(n, p, k, str(text).strip())


Form = Annotated[str, one_of(*QUICK_FORMS, *SLOW_FORMS)]
_FORMS = (
    'a form of nitrogen, such as "urea", or shares by form that add up to 1: '
    '{ urea = 0.5, "polymer-coated urea" = 0.5 }'
)


def by_form(value: object) -> object:
    """A bare form stands for all of the nitrogen."""
    return {value: 1.0} if isinstance(value, str) else value


class DoseTable(Part):
    day: DayOfYear
    product: Annotated[Analysis, BeforeValidator(Described(analysis, _ANALYSIS))]
    rate: Annotated[float | None, quantity(FEED), Field(gt=0.0, le=MOST_NITROGEN_KG_HA)] = None
    product_rate: Annotated[float | None, quantity(FEED), Field(gt=0.0, le=MOST_PRODUCT_KG_HA)] = (
        None
    )
    nitrogen: (
        Annotated[dict[Form, SomeShare], BeforeValidator(Described(by_form, _FORMS))] | None
    ) = None
    rated: WholeDays | None = None

    @property
    def weight_kg_ha(self) -> float:
        """Weight of product."""
        if self.product_rate is not None:
            return self.product_rate
        return (self.rate or 0.0) / self.product.nitrogen

    @property
    def n_kg_ha(self) -> float:
        """Weight of nitrogen."""
        return self.weight_kg_ha * self.product.nitrogen

    @property
    def forms(self) -> Mapping[str, float]:
        """Shares of the nitrogen by form, which add up to 1; none where there is no nitrogen."""
        shares = self.nitrogen or ({QUICK_FORMS[0]: 1.0} if self.product.nitrogen else {})
        return {form: share / sum(shares.values()) for form, share in shares.items()}

    @property
    def slow(self) -> dict[tuple[str, float], float]:
        """Slow nitrogen (kg/ha) by form and rated days, 0 where no rating is written."""
        return {
            (form, float(self.rated or 0.0) if form in COATED_FORMS else 0.0): share * self.n_kg_ha
            for form, share in self.forms.items()
            if form in SLOW_FORMS
        }  # fmt: skip

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        flaws: Flaws = []
        bare = self.product.nitrogen == 0.0
        none = f"{quoted(self.product.text)} has no nitrogen"
        if self.day == _LEAP_DAY:
            flaws.append(("day", "comes in leap years only", 'write day = "02-28"'))
        if self.rate is not None and self.product_rate is not None:
            flaws.append(("product_rate", "conflicts with rate", "keep one of them"))
        elif bare and self.rate is not None:
            flaws.append(("rate", none, "write product_rate, the weight of product"))
        elif self.rate is None and self.product_rate is None:
            line = 'write rate = "0.75 lb/1000 ft2" (of nitrogen), or product_rate (of product)'
            if bare:
                line = 'write product_rate = "2 lb/1000 ft2"'
            flaws.append(("product_rate" if bare else "rate", "is missing", line))
        elif self.n_kg_ha > MOST_NITROGEN_KG_HA:
            what = f"holds {self.n_kg_ha:,.0f} kg/ha of nitrogen"
            flaws.append(("product_rate", what, f"at most {MOST_NITROGEN_KG_HA:,.0f} kg/ha"))
        elif self.weight_kg_ha > MOST_PRODUCT_KG_HA:
            what = f"needs {self.weight_kg_ha:,.0f} kg/ha of product"
            flaws.append(("rate", what, f"at most {MOST_PRODUCT_KG_HA:,.0f} kg/ha"))
        total = sum((self.nitrogen or {}).values())
        if bare and self.nitrogen is not None:
            flaws.append(("nitrogen", none, "leave it out"))
        elif self.nitrogen is not None and abs(total - 1.0) > _CLOSE:
            flaws.append(("nitrogen", f"shares add up to {total:g}", "shares that add up to 1"))
        if self.rated is not None and not set(self.forms) & set(COATED_FORMS):
            allowed = 'leave it out, or write nitrogen = "polymer-coated urea"'
            flaws.append(("rated", "is for coated urea", allowed))
        refuse(flaws)
        return self


class WaterTable(Part):
    salt: Annotated[float, quantity(CONDUCTIVITY), Field(ge=0.0, le=30.0)] = (
        FeedingSpec.water_salt_ds_m
    )
    nitrogen: Annotated[float, quantity(CONCENTRATION), Field(ge=0.0, le=200.0)] = (
        FeedingSpec.water_n_mg_l
    )


@cache
def feeding_plans() -> dict[str, dict[str, Any]]:
    """Feeding plans by name: season, ground and doses, as ``feeding_plans.toml`` has them."""
    return tomllib.loads(load_catalog().texts["feeding_plans"])


def feeding_plan_for(species: Entry, zone: Entry) -> str:
    """The first feeding plan for turf of the species on the root zone ``zone``."""
    of = {"season": species.words["season"], "ground": _ground(zone)}
    return next(name for name, plan in feeding_plans().items() if of.items() <= plan.items())


class FeedingTable(Part):
    plan: Annotated[str, one_of(*feeding_plans())] | None = None
    doses: Annotated[list[DoseTable] | None, Field(min_length=1, max_length=MOST_DOSES)] = None
    yearly: Annotated[float | None, quantity(FEED), Field(gt=0.0, le=MOST_NITROGEN_KG_HA)] = None
    clippings: Annotated[str, one_of(*CLIPPINGS)] = RETURNED
    organic_matter: Annotated[float, AS_SHARE, Field(gt=0.0, le=0.2)] | None = None
    soil_ph: Annotated[float, Field(ge=4.0, le=9.5)] = FeedingSpec.soil_ph
    soil_phosphorus: Annotated[str, one_of(*SOIL_TESTS)] = ENOUGH
    soil_potassium: Annotated[str, one_of(LOW, ENOUGH)] = ENOUGH
    most_quick: Annotated[float | None, quantity(FEED), Field(ge=1.0, le=MOST_NITROGEN_KG_HA)] = (
        None
    )
    hold: WholeDays = FeedingSpec.hold_days
    water_in: Annotated[float, quantity(LENGTH), Field(ge=0.0, le=50.0)] = FeedingSpec.water_in_mm
    granules_on_paving: Annotated[float, AS_SHARE, Field(ge=0.0, le=1.0)] = FeedingSpec.on_paving
    labor_h: Annotated[float, quantity(TIME), Field(alias="labor", ge=0.0, le=1000.0)] = (
        FeedingSpec.labor_h
    )
    water: WaterTable = WaterTable()

    @model_validator(mode="after")
    def _states_the_doses_once(self) -> Self:
        flaws: Flaws = []
        if self.plan is None and self.doses is None:
            line = f'write plan = "{next(iter(feeding_plans()))}", or doses = [...]'
            flaws.append(("", "names no doses", line))
        elif self.plan is not None and self.doses is not None:
            flaws.append(("doses", "conflicts with plan", "keep one of them"))
        elif self.yearly and self.doses and not any(dose.n_kg_ha for dose in self.doses):
            flaws.append(("yearly", "the doses hold no nitrogen", "leave it out"))
        kinds = {kind for dose in self.doses or () for kind in dose.slow}
        if len(kinds) > MOST_SLOW_KINDS:
            named = ", ".join(_kind_text(*kind) for kind in sorted(kinds))
            allowed = f"at most {MOST_SLOW_KINDS} of them in the doses of a field"
            flaws.append(("doses", f"hold {len(kinds)} kinds of slow nitrogen ({named})", allowed))
        refuse(flaws)
        return self


Feeding = Annotated[
    FeedingTable,
    BeforeValidator(
        in_table("plan", 'a feeding plan, such as "cool-season on sand", or a table with doses')
    ),
]


def require_feeding(scenario: Scenario) -> None:
    """FaultyInput when no field of the scenario is fed."""
    if not scenario.fed:
        allowed = 'add to a field, under [fields.KEY]: feeding = "cool-season on sand"'
        raise FaultyInput(Fault("fields", "no field is fed", allowed))


def feeding_flaws(table: FeedingTable, zone: Entry, catalog: Catalog) -> Flaws:
    """Faults of doses that are split on the root zone ``zone``, by key of the field."""
    most_quick = _most_quick_kg_ha(table, _ground(zone), catalog)
    try:
        for southern in (False, True):
            _split(_doses(table, southern), most_quick)
    except TooManyParts:
        what = f"splits the doses into more parts than a year has room for, {DAYS_BETWEEN_PARTS}"
        what += f" days apart ({MOST_DOSES} at most)"
        return [("feeding.most_quick", what, 'write a larger one, such as "1 lb/1000 ft2"')]
    return []


# --- tables to the model ----------------------------------------------------------------------


def feeding_spec(
    table: FeedingTable, species: Entry, zone: Entry, catalog: Catalog, southern: bool = False
) -> FeedingSpec:
    """Feeding of a field of ``species`` on the root zone ``zone``, with defaults by the latter.

    South of the equator the days of a feeding plan are half a year later.
    """
    ground = _ground(zone)
    most_quick = _most_quick_kg_ha(table, ground, catalog)
    notes = list(_misfits(table.plan, species, ground)) if table.plan is not None else []
    parts, splits = _split(_doses(table, southern), most_quick)
    notes += [*splits, *_close_together(parts, most_quick)]
    if table.soil_phosphorus != LOW and any(dose.p_kg_ha > 0.0 for dose in parts):
        notes.append(
            f"doses hold phosphorus, and soil_phosphorus is {quoted(table.soil_phosphorus)}: many "
            "places forbid that on established turf"
        )
    return FeedingSpec(
        doses=parts,
        clippings_returned=table.clippings == RETURNED,
        organic_matter=table.organic_matter
        or catalog.get("feeding", "soil")[f"organic_matter_{ground}"],
        soil_ph=table.soil_ph,
        soil_phosphorus=table.soil_phosphorus,
        potassium_enough=table.soil_potassium == ENOUGH,
        most_quick_kg_ha=most_quick,
        hold_days=table.hold,
        water_in_mm=table.water_in,
        on_paving=table.granules_on_paving,
        labor_h=table.labor_h,
        water_salt_ds_m=table.water.salt,
        water_n_mg_l=table.water.nitrogen,
        plan=table.plan or "",
        notes=tuple(notes),
    )


def _most_quick_kg_ha(table: FeedingTable, ground: str, catalog: Catalog) -> float:
    usual: float = catalog.get("feeding", "limits")[f"most_quick_{ground}_kg_ha"]
    return table.most_quick or usual


def release_entry(kind: str, catalog: Catalog) -> Entry:
    """The release of a slow fertilizer, by its name in a scenario."""
    return catalog.get("feeding", "release_" + kind.replace("-", "_").replace(" ", "_"))


def of_species(what: str, species: str, catalog: Catalog) -> Entry:
    """The "nitrogen" or "salt" of a species: where it has no entry, that of the one it is like."""
    key, like = f"{what}_{species}", catalog.get("species", species).like
    if like and key not in catalog.entries["feeding"]:
        return of_species(what, like, catalog)
    return catalog.get("feeding", key)


def yearly_need_kg_ha(species: Entry, zone: Entry, catalog: Catalog) -> tuple[float, float]:
    """Least and most nitrogen that turf of the species usually gets in a year on the root zone
    ``zone``, its clippings removed.
    """
    need = of_species("nitrogen", species.key, catalog)
    least, most = float(need["need_low_kg_ha"]), float(need["need_high_kg_ha"])
    if _ground(zone) == "sand":
        least, most = least * MORE_ON_SAND[0], most * MORE_ON_SAND[1]
    return least, most


@cache
def _of_plan(name: str, southern: bool) -> tuple[DoseTable, ...]:
    """Doses of a feeding plan, six months later in the south; kept for the points of a sweep."""
    rows = feeding_plans()[name]["doses"]
    if southern:
        rows = [{**row, "day": _half_a_year_on(row["day"])} for row in rows]
    return tuple(map(DoseTable.model_validate, rows))


def _half_a_year_on(text: str) -> str:
    month, day = map(int, text.split("-"))
    month = (month + 5) % 12 + 1
    return f"{month:02}-{min(day, monthrange(_NO_LEAP_YEAR, month)[1]):02}"


def _ground(zone: Entry) -> str:
    return "native" if zone.words["kind"] == "native" else "sand"


def _doses(table: FeedingTable, southern: bool) -> list[DoseSpec]:
    """Doses of the table, or of the feeding plan that it names, scaled to those of a year."""
    rows = table.doses or () if table.plan is None else _of_plan(table.plan, southern)
    doses = [_dose(row) for row in rows]
    if table.yearly is None:
        return doses
    share = table.yearly / sum(row.n_kg_ha for row in rows)
    return [_times(dose, share) for dose in doses]


def _misfits(name: str, species: Entry, ground: str) -> Iterator[str]:
    plan, season = feeding_plans()[name], species.words["season"]
    if season != plan["season"]:
        what = f"{quoted(name)} is for {plan['season']}-season turf"
        yield f"{what}; {species.label} is {season}-season"
    if ground != plan["ground"]:
        names = {"native": "native soil", "sand": "sand"}
        yield f"{quoted(name)} is for {names[plan['ground']]}; this field is on {names[ground]}"


def _dose(table: DoseTable) -> DoseSpec:
    quick = {form: table.n_kg_ha * table.forms.get(form, 0.0) for form in QUICK_FORMS}
    slow = tuple(SlowPart(*kind, n) for kind, n in table.slow.items())
    forms = ", ".join(
        f"{_kind_text(kind, days)}" if (share := table.forms[kind]) == 1.0 else
        f"{share:.0%} {_kind_text(kind, days)}"
        for kind, days in table.slow
    )  # fmt: skip
    return DoseSpec(
        day=table.day,
        urea_kg_ha=quick["urea"],
        ammonium_kg_ha=quick["ammonium"],
        nitrate_kg_ha=quick["nitrate"],
        slow=slow,
        p_kg_ha=table.weight_kg_ha * table.product.p2o5 * P_OF_P2O5,
        k_kg_ha=table.weight_kg_ha * table.product.k2o * K_OF_K2O,
        product_kg_ha=table.weight_kg_ha,
        label=f"{table.product.text}{', ' if forms else ''}{forms}",
    )


def _kind_text(kind: str, rated_days: float) -> str:
    return f"{kind} ({rated_days:g} d)" if rated_days else kind


def _times(dose: DoseSpec, share: float) -> DoseSpec:
    return replace(
        dose,
        urea_kg_ha=dose.urea_kg_ha * share,
        ammonium_kg_ha=dose.ammonium_kg_ha * share,
        nitrate_kg_ha=dose.nitrate_kg_ha * share,
        slow=tuple(replace(part, n_kg_ha=part.n_kg_ha * share) for part in dose.slow),
        p_kg_ha=dose.p_kg_ha * share,
        k_kg_ha=dose.k_kg_ha * share,
        product_kg_ha=dose.product_kg_ha * share,
    )


def _split(
    doses: list[DoseSpec], most_quick_kg_ha: float
) -> tuple[tuple[DoseSpec, ...], list[str]]:
    """Doses by day of the year, none of a day above the limit of quick nitrogen; what was split.

    What a day may not have waits ``DAYS_BETWEEN_PARTS`` days. A year is begun behind its longest
    time without a dose, so that what waits meets the doses after it. TooManyParts when they run
    into the next year's doses, or are more than ``MOST_DOSES``.
    """
    begins = _after_longest_gap(sorted({dose.day for dose in doses}))
    waiting: dict[int, list[tuple[int, DoseSpec]]] = {}
    for i, dose in enumerate(doses):
        waiting.setdefault((dose.day - begins) % _YEAR, []).append((i, dose))
    parts: list[DoseSpec] = []
    times = [0] * len(doses)
    while waiting:
        at = min(waiting)
        if at >= _YEAR or len(parts) + len(waiting) > MOST_DOSES:
            raise TooManyParts
        today = waiting.pop(at)
        quick = sum(dose.quick_kg_ha for _, dose in today)
        n = ceil(quick / most_quick_kg_ha - _CLOSE) or 1
        day = (at + begins) % _YEAR
        then = at + DAYS_BETWEEN_PARTS
        then += (then + begins) % _YEAR == _LEAP_DAY
        for i, dose in today:
            # What holds nothing quick is not the cause, and does not wait.
            of = n if dose.quick_kg_ha > 0.0 else 1
            part = _times(dose, 1.0 / of)
            parts.append(replace(part, day=day))
            times[i] += 1
            if of > 1:
                rest = (i, _times(dose, 1.0 - 1.0 / of))
                waiting.setdefault(then, []).append(rest)
    if len(parts) > MOST_DOSES:
        raise TooManyParts
    notes = [
        f"the dose of {day_text(dose.day)} ({dose.label}) is put down in {n} parts, "
        f"{DAYS_BETWEEN_PARTS} days apart: no day may have more quick nitrogen than most_quick"
        for dose, n in zip(doses, times, strict=True)
        if n > 1
    ]
    return tuple(sorted(parts, key=lambda dose: dose.day)), notes


def _close_together(parts: Sequence[DoseSpec], most_quick_kg_ha: float) -> Iterator[str]:
    """Doses within a week with more quick nitrogen together than a day may have."""
    quick: dict[int, float] = {}
    for dose in parts:
        if dose.quick_kg_ha > 0.0:
            quick[dose.day] = quick.get(dose.day, 0.0) + dose.quick_kg_ha
    named: set[int] = set()
    for day in sorted(quick):
        week = [other for other in quick if _days_later(day, other) < DAYS_A_WEEK]
        week.sort(key=lambda other: _days_later(day, other))
        total = sum(quick[other] for other in week)
        if len(week) > 1 and day not in named and total > most_quick_kg_ha * (1.0 + _CLOSE):
            named |= {*week}
            between = "and" if len(week) == 2 else "to"
            yield (
                f"the doses of {day_text(day)} {between} {day_text(week[-1])} hold more quick "
                f"nitrogen together than most_quick, within {DAYS_A_WEEK} days"
            )


def _days_later(day: int, other: int) -> int:
    """Days from a day of the year to the next such ``other`` of common years."""
    begins, ends = (at - int(at > _LEAP_DAY) for at in (day, other))
    return (ends - begins) % (_YEAR - 1)


def _after_longest_gap(days: list[int]) -> int:
    """The first of ``days`` of the year after the longest time without one."""
    around = [*days, days[0] + _YEAR]
    return max(pairwise(around), key=lambda pair: pair[1] - pair[0])[1] % _YEAR
