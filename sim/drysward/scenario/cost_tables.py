"""The prices of a scenario file; drysward has no default prices."""

# pydantic copies a default that can change.
# ruff: noqa: RUF012

import re
from collections.abc import Iterable
from typing import Annotated, Self

from pydantic import BeforeValidator, Field, ValidationInfo, model_validator

from drysward.catalog import load_catalog
from drysward.faults import nearest, quoted
from drysward.quantities import AREA, VOLUME, WEIGHT
from drysward.scenario.model import Costs, SystemPrice
from drysward.scenario.names import names_of
from drysward.scenario.supply_tables import Tariff, tariff_blocks, tariff_flaws
from drysward.scenario.values import (
    Flaws,
    Part,
    Share,
    price_of,
    price_of_work,
    price_per,
    refuse,
    values_of,
    within,
    within_term,
)

LONGEST_LIFE = 100


def system_price(value: object) -> SystemPrice:
    """``"0.90 per ft2"``, or a bare number for one system that serves all of its fields."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        limits = load_catalog().scenario_terms["price_of_system"]
        return SystemPrice(lump=within_term(float(value), limits))
    try:
        limits = load_catalog().scenario_terms["price_of_ground"]
        return SystemPrice(per_m2=within_term(price_per(value, AREA), limits))
    except ValueError as error:
        allowed = "or a bare number for one system that serves all of its fields"
        raise ValueError(f"{error}, {allowed}") from None


def whole_years(value: object) -> int:
    """``20`` or ``"20 yr"`` as 20; ValueError when it is not a number of whole years."""
    text = value if isinstance(value, str) else ""
    written = re.fullmatch(r"\s*([0-9]{1,4})\s*(?:yr|yrs|years?|a)\s*", text)
    years = int(written.group(1)) if written else value
    if type(years) is not int or not 1 <= years <= LONGEST_LIFE:
        allowed = f'whole years from 1 to {LONGEST_LIFE}, such as 20 or "20 yr"'
        raise ValueError(f"{quoted(value)} is not a number of years; {allowed}")
    return years


class CostsTable(Part):
    currency: Annotated[str, Field(min_length=1, max_length=12)] = Costs.currency
    energy_price_kwh: Annotated[
        float, Field(alias="energy"), within("price_of_energy")
    ] = Costs.energy_price_kwh
    labor_price_h: Annotated[
        float, Field(alias="labor"), price_of_work(), within("price_of_labor")
    ] = Costs.labor_price_h
    water: Tariff = []
    nitrogen_price_kg: Annotated[
        Annotated[float, price_of(WEIGHT), within("price_of_nitrogen")] | None,
        Field(alias="nitrogen"),
    ] = None
    construction: dict[str, Annotated[float, price_of(AREA), within("price_of_ground")]] = {}
    irrigation: dict[str, Annotated[SystemPrice, BeforeValidator(system_price)]] = {}
    storage_price_m3: Annotated[
        Annotated[float, price_of(VOLUME), within("price_of_storage")] | None,
        Field(alias="pond"),
    ] = None
    renovation_price_m2: Annotated[
        Annotated[float, price_of(AREA), within("price_of_ground")] | None,
        Field(alias="renovation"),
    ] = None
    life_years: Annotated[int | None, BeforeValidator(whole_years), Field(alias="life")] = None
    discount_rate: Share | None = None

    @model_validator(mode="after")
    def _hangs_together(self, info: ValidationInfo) -> Self:
        names = names_of(info)
        flaws = tariff_flaws("water", self.water)
        if self.water and names.tariffs:
            flaws.append(("water", "conflicts with the tariff of a source", "keep one of them"))
        for key, kind, used in (
            ("construction", "root_zones", names.root_zones),
            ("irrigation", "delivery", names.delivery),
        ):
            flaws += unused_flaws(key, getattr(self, key), load_catalog().entries[kind], used)
        if self.storage_price_m3 is not None and not names.storage:
            flaws.append(("pond", "prices a missing storage", "write supply.storage"))
        if self.nitrogen_price_kg is not None and not names.feeding:
            flaws.append(("nitrogen", "no field is fed", 'write fields.KEY.feeding = "..."'))
        if self.discount_rate is not None and self.life_years is None:
            allowed = "write life as well, such as life = 20"
            flaws.append(("discount_rate", "needs a life", allowed))
        refuse(flaws)
        return self


def unused_flaws(
    key: str, prices: Iterable[str], known: Iterable[str], used: Iterable[str]
) -> Flaws:
    """Faults of prices under ``key`` for names that the catalog or the fields do not have."""
    used = tuple(dict.fromkeys(used))
    flaws: Flaws = []
    for name in prices:
        if name not in tuple(known):
            flaws.append((f"{key}.{name}", "is not known", nearest(name, known)))
        elif name not in used:
            flaws.append((f"{key}.{name}", "no field has it", nearest(name, used)))
    return flaws


def costs_spec(table: CostsTable) -> Costs:
    """The model's prices."""
    return Costs(water=tariff_blocks(table.water), **values_of(table, "water"))


