"""The feed of a year as ``drysward check`` prints it. Nothing is computed here but sums."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from drysward.physics.nitrogen import KG_HA_PER_MG_L_MM
from drysward.quantities import shown
from drysward.results.feeding_text import CAUTION, salt_cautions, weight_text
from drysward.results.field_costs import M2_PER_HA
from drysward.results.text import UNKNOWN, rounded
from drysward.scenario.feeding_tables import yearly_need_kg_ha
from drysward.scenario.model import FeedingSpec, FieldSpec, Scenario
from drysward.scenario.values import day_text
from drysward.screen.document import Row, Table, Value, number, words

_WITH_CLIPPINGS = 1.0 / 2.0, 2.0 / 3.0  # of the least and most, where clippings stay


def feeding_table(scenario: Scenario, system: str) -> list[Table]:
    """A line for each dose of a year, a block for each field that is fed."""
    how = shown("kg ha-1", system)
    weights = {
        "nitrogen": "nitrogen",
        "quick": "quick",
        "slow": "slow",
        "phosphorus": "phosphorus (P)",
        "potassium": "potassium (K)",
    }

    def weight(shown: float) -> str:
        return rounded(shown, max(how.decimals, 1)) if shown > 0.0 else UNKNOWN

    of_field = shown("kg", system)
    columns = [
        words("field", "field", whole=True),
        words("field_label", "field"),
        words("day", "day", whole=True),
        words("product", "product"),
        number("product_rate", "of product", how.unit, write=weight),
        number("product_of_field", "for the field", of_field.unit, write=weight_text),
        *(number(key, head, how.unit, write=weight) for key, head in weights.items()),
    ]
    cells = [replace(one, unit="") if one.unit == how.unit else one for one in columns[2:]]
    begins = 182 if scenario.site.latitude_deg < 0.0 else 0  # 1 July
    rows: list[Row] = []
    heads: dict[Value, str] = {}
    for field, feeding in scenario.fed:
        ways = [feeding.plan or "its own doses"]
        ways.append(f"clippings {'returned' if feeding.clippings_returned else 'removed'}")
        heads[field.label] = f"{field.label} ({field.key}): {', '.join(ways)}"
        rows += [
            {
                "field": field.key,
                "field_label": field.label,
                "day": day_text(dose.day),
                "product": dose.label,
                "product_rate": dose.product_kg_ha * how.factor,
                "product_of_field": dose.product_kg_ha * field.area_m2 / M2_PER_HA
                * of_field.factor,
                "nitrogen": dose.n_kg_ha * how.factor,
                "quick": dose.quick_kg_ha * how.factor,
                "slow": (dose.n_kg_ha - dose.quick_kg_ha) * how.factor,
                "phosphorus": dose.p_kg_ha * how.factor,
                "potassium": dose.k_kg_ha * how.factor,
            }
            for dose in sorted(feeding.doses, key=lambda dose: (dose.day - begins) % 366)
        ]
    if not rows:
        return []
    return [
        Table(
            "feeding", f"Feed of a year, {how.unit}", columns, rows, cells, ("day", "product"),
            by="field_label", blocks=heads, alike_once=True,
        )
    ]  # fmt: skip


def feeding_notes(scenario: Scenario, system: str) -> Iterator[tuple[str, str]]:
    """The feed of each field beside the need of its species, and what does not fit."""
    for field, feeding in scenario.fed:
        yield "Feed", f"{field.label}: {_yearly(scenario, field, feeding, system)}"
        for note in feeding.notes:
            yield "Note", f"{field.label}: {note}"
    yield from (("Caution", text) for text in salt_cautions(scenario))
    if scenario.fed:
        yield "Caution", CAUTION


def _yearly(scenario: Scenario, field: FieldSpec, feeding: FeedingSpec, system: str) -> str:
    how, depth = shown("kg ha-1", system), shown("mm", system)
    species = scenario.catalog.get("species", field.species)
    zone = scenario.catalog.get("root_zones", field.root_zone.like)
    total = sum(dose.n_kg_ha for dose in feeding.doses)
    least, most = yearly_need_kg_ha(species, zone, scenario.catalog)
    decimals = min(how.decimals, 1)

    def text(kg_ha: float) -> str:
        return rounded(kg_ha * how.factor, decimals).removesuffix(".0")

    on = "" if zone.words["kind"] == "native" else " on sand"
    line = (
        f"{text(total)} {how.unit} of nitrogen a year; {species.label}{on} usually gets "
        f"{text(least)} to {text(most)}"
    )
    if feeding.clippings_returned:
        least, most = least * _WITH_CLIPPINGS[0], most * _WITH_CLIPPINGS[1]
        line += f", and {text(least)} to {text(most)} where clippings stay"
    if text(total) != text(most) and total > most:
        line += ": this is more"
    elif text(total) != text(least) and total < least:
        line += ": this is less"
    if feeding.water_n_mg_l > 0.0:
        much = 10.0 if depth.decimals else 100.0
        brought = feeding.water_n_mg_l * KG_HA_PER_MG_L_MM * much / depth.factor * how.factor
        line += f". Each {much:g} {depth.unit} of watering brings {brought:.2g} {how.unit} more, "
        line += "which counts as feed"
    return line
