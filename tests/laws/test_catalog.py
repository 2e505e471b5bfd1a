"""The catalog: every number has its source, every fault is told, overrides stay visible."""

from __future__ import annotations

import dataclasses
import tomllib
from collections.abc import Iterator
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drysward.catalog import (
    GRADES,
    KINDS,
    SCENARIO,
    Catalog,
    Parameter,
    load_catalog,
    read_catalog,
)
from drysward.faults import FaultyInput

WILT_KS = "species.kentucky_bluegrass.wilt_ks"


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


def config_texts() -> dict[str, str]:
    return {
        path.name.removesuffix(".toml"): path.read_text(encoding="utf-8")
        for path in files("drysward.configs").iterdir()
        if path.name.endswith(".toml")
    }


def parameters(catalog: Catalog) -> Iterator[tuple[str, Parameter]]:
    """Every number with its dotted name."""
    for kind, known in catalog.entries.items():
        for key, entry in known.items():
            for name, parameter in entry.numbers.items():
                yield f"{kind}.{key}.{name}", parameter


def test_every_config_file_is_read(catalog: Catalog) -> None:
    others = {"known_together", "feeding_plans", "sources", "vocabulary"}
    assert set(catalog.texts) == set(config_texts()) == {*KINDS, *others}


def test_every_number_is_a_table_with_unit_range_source_and_grade() -> None:
    """Read straight from the files, so that the loader's own check is checked as well."""
    sources = tomllib.loads(config_texts()["sources"])
    for kind in KINDS:
        for key, table in tomllib.loads(config_texts()[kind]).items():
            for name, row in table.items():
                if isinstance(row, str):
                    continue
                where = f"{kind}.{key}.{name}"
                assert isinstance(row, dict), where
                assert row["low"] <= row["value"] <= row["high"], where
                assert row["unit"], where
                named = [row["source"]] if isinstance(row["source"], str) else row["source"]
                assert named, where
                assert set(named) <= sources.keys(), where
                assert SCENARIO not in named, where
                assert row["grade"] in GRADES, where


def test_grades_are_honest_about_their_sources(catalog: Catalog) -> None:
    """Our own judgment alone is an estimate, and nothing published rests on memory."""
    for dotted, parameter in parameters(catalog):
        if parameter.source == ("own_estimate",):
            assert parameter.grade == "estimate", dotted
        if parameter.grade in ("measured", "published"):
            assert not {"own_estimate", "memory"} & set(parameter.source), dotted


def test_every_source_has_a_citation(catalog: Catalog) -> None:
    for key, citation in catalog.sources.items():
        assert len(citation) > 20, key
        assert citation.endswith("."), key


def test_vocabulary_is_whole(catalog: Catalog) -> None:
    assert not set(catalog.derived) & set(catalog.quantities)
    known = (catalog.quantities, catalog.derived, catalog.meanings)
    for term in (term for terms in known for term in terms.values()):
        assert term.low <= term.high, term.key
        assert term.meaning.endswith("."), term.key
        assert term.units, term.key
        assert term.long_name, term.key
    used = {parameter.name for _, parameter in parameters(catalog)}
    assert used == set(catalog.meanings)


def test_entries_of_a_kind_give_the_same_numbers(catalog: Catalog) -> None:
    """Whatever species or soil is chosen, the same names can be asked for."""
    for kind in KINDS:
        groups: dict[str, list[set[str]]] = {}
        for entry in catalog.entries[kind].values():
            groups.setdefault(entry.words.get("kind", kind), []).append(set(entry.numbers))
        for group, names in groups.items():
            assert all(name == names[0] for name in names), group


def test_constructions_name_soils_and_compactions_that_exist(catalog: Catalog) -> None:
    constructions = catalog.entries["root_zones"].values()
    assert {entry.words["kind"] for entry in constructions} == {
        "sand over gravel",
        "sand cap over native",
        "native",
    }
    for entry in constructions:
        assert entry.words["base"] in ("gravel", "open subsoil", "barrier"), entry.key
        if entry.words["kind"] != "sand over gravel":
            catalog.get("soils", entry.words["soil"])
            catalog.get("compaction", entry.words["compaction"])


def test_species_words_name_what_the_model_knows(catalog: Catalog) -> None:
    for entry in catalog.entries["species"].values():
        catalog.get("kc_season", entry.words["season"])
        assert entry.words["spread"] in (
            "rhizome",
            "stolon",
            "stolon and rhizome",
            "bunch",
            "seed",
        )


def test_every_texture_has_an_intake(catalog: Catalog) -> None:
    assert catalog.entries["intake"].keys() == catalog.entries["soils"].keys()


def test_order_within_entries(catalog: Catalog) -> None:
    """Things that must stand in order whatever the numbers are."""
    for entry in catalog.entries["species"].values():
        assert entry["median_death_35c"] < entry["median_death_25c"], entry.key
    for entry in catalog.entries["curve_numbers"].values():
        assert entry["a"] < entry["b"] < entry["c"] < entry["d"]
    for entry in catalog.entries["soils"].values():
        assert entry["sand"] + entry["clay"] <= 100.0, entry.key
    turf = catalog.get("turf_processes", "all")
    assert turf["fresh_snow_density"] < turf["settled_snow_density"]


def test_like_takes_over_all_that_is_not_written_anew(catalog: Catalog) -> None:
    base = catalog.get("root_zones", "sand_over_gravel_12in")
    deep = catalog.get("root_zones", "sand_over_gravel_16in")
    assert deep.words == base.words
    assert deep.label != base.label
    assert deep["depth_mm"] == 406.4
    assert {n for n in base.numbers if base.numbers[n] != deep.numbers[n]} == {"depth_mm"}


def test_sand_is_one_material_in_every_construction(catalog: Catalog) -> None:
    values = {
        tuple(entry[name] for name in ("theta_s", "theta_r", "alpha", "n", "ksat", "rew"))
        for entry in catalog.entries["root_zones"].values()
        if entry.words["kind"] != "native"
    }
    assert len(values) == 1


# --- asking ---------------------------------------------------------------------------------


def test_unknown_names_are_refused_with_the_nearest(catalog: Catalog) -> None:
    with pytest.raises(FaultyInput, match="did you mean 'tall_fescue'"):
        catalog.get("species", "tall_fescu")
    with pytest.raises(FaultyInput, match="did you mean 'species'"):
        catalog.get("specie", "tall_fescue")
    with pytest.raises(FaultyInput, match=r"fields\.main\.grass: .*did you mean 'zoysiagrass'"):
        catalog.get("species", "zoysia_grass", where="fields.main.grass")
    with pytest.raises(FaultyInput, match="did you mean 'wilt_ks'"):
        catalog.get("species", "tall_fescue")["wilt_kss"]
    with pytest.raises(FaultyInput, match="did you mean 'bermudagrass'"):
        catalog.find("bermuda_grass")
    for everyday in ("hybrid bermuda", "Hybrid_Bermuda", "common bermuda"):
        with pytest.raises(FaultyInput, match="did you mean 'bermudagrass'"):
            catalog.get("species", everyday)
    for everyday in ("travelling machine", "Traveling gun", "traveler"):
        with pytest.raises(FaultyInput, match="did you mean 'big_gun_traveler' or 'small_trav"):
            catalog.get("delivery", everyday)


def test_find_looks_through_every_kind(catalog: Catalog) -> None:
    assert [entry.kind for entry in catalog.find("zoysiagrass")] == ["species"]
    assert [entry.kind for entry in catalog.find("clay")] == ["soils", "intake"]


def test_catalog_is_loaded_once() -> None:
    assert load_catalog() is load_catalog()


def test_parameters_and_entries_cannot_be_changed(catalog: Catalog) -> None:
    entry = catalog.get("species", "tall_fescue")
    with pytest.raises(dataclasses.FrozenInstanceError):
        entry.parameter("wilt_ks").value = 0.1


# --- overrides ------------------------------------------------------------------------------


def test_override_is_marked_and_leaves_the_rest_alone(catalog: Catalog) -> None:
    changed = catalog.with_overrides({WILT_KS: 0.7})
    was = dict(parameters(catalog))
    now = dict(parameters(changed))
    assert {name for name in was if was[name] != now[name]} == {WILT_KS}
    assert now[WILT_KS].value == 0.7
    assert now[WILT_KS].grade == SCENARIO
    assert now[WILT_KS].source == (SCENARIO,)
    assert SCENARIO in changed.sources
    assert was[WILT_KS].value != 0.7
    assert catalog.overrides == {}


def test_overrides_add_up(catalog: Catalog) -> None:
    twice = catalog.with_overrides({WILT_KS: 0.7}).with_overrides(
        {"losses.night.spray_loss_share": 0}
    )
    assert twice.overrides == {WILT_KS: 0.7, "losses.night.spray_loss_share": 0.0}
    assert twice.get("species", "kentucky_bluegrass")["wilt_ks"] == 0.7


@given(st.floats(0.01, 0.99))
def test_whatever_is_possible_is_accepted(value: float) -> None:
    """Outside the catalog's range but not beyond physics."""
    changed = load_catalog().with_overrides({WILT_KS: value})
    assert changed.get("species", "kentucky_bluegrass")["wilt_ks"] == value


@pytest.mark.parametrize(
    ("name", "value", "told"),
    [
        (WILT_KS, 1.2, "physically impossible"),
        (WILT_KS, -0.1, "physically impossible"),
        (WILT_KS, float("nan"), "not a number"),
        (WILT_KS, float("inf"), "not a number"),
        (WILT_KS, 10**400, "physically impossible"),
        (WILT_KS, "0.7", "not a number"),
        (WILT_KS, True, "not a number"),
        ("species.kentucky_bluegrass.wilt_kss", 0.7, "did you mean 'wilt_ks'"),
        ("species.kentucky_blugrass.wilt_ks", 0.7, "did you mean 'kentucky_bluegrass'"),
        ("specie.kentucky_bluegrass.wilt_ks", 0.7, "did you mean 'species'"),
        ("wilt_ks", 0.7, r"write kind\.key\.name"),
    ],
)
def test_faulty_overrides_are_refused(
    catalog: Catalog, name: str, value: object, told: str
) -> None:
    with pytest.raises(FaultyInput, match=told) as refusal:
        catalog.with_overrides({name: value})
    assert refusal.value.faults[0].where == name


def test_all_faulty_overrides_are_reported_at_once(catalog: Catalog) -> None:
    with pytest.raises(FaultyInput) as refusal:
        catalog.with_overrides({WILT_KS: 7, "soils.loam.sand": "much", "soils.lom.clay": 3})
    assert len(refusal.value.faults) == 3


def test_digest_follows_texts_and_overrides(catalog: Catalog) -> None:
    same = read_catalog(catalog.texts)
    other_text = read_catalog({**catalog.texts, "soils": catalog.texts["soils"] + "\n# a remark\n"})
    digests = [
        catalog.digest(),
        other_text.digest(),
        catalog.with_overrides({WILT_KS: 0.7}).digest(),
        catalog.with_overrides({WILT_KS: 0.71}).digest(),
    ]
    assert len(catalog.digest()) == 64
    assert same.digest() == catalog.digest()
    assert len(set(digests)) == 4


# --- faulty files ---------------------------------------------------------------------------

GOOD = (
    '{ value = 0.02, low = 0.01, high = 0.03, unit = "1", source = "memory", grade = "estimate" }'
)


def test_a_sound_number_is_read(catalog: Catalog) -> None:
    text = f'[day]\nlabel = "Day"\nspray_loss_share = {GOOD}\n'
    read = read_catalog({**catalog.texts, "losses": text})
    assert read.get("losses", "day")["spray_loss_share"] == 0.02


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (GOOD, "0.02", "without unit, range, source and grade"),
        ("value = 0.02", "value = 0.04", "is outside of its range"),
        ("value = 0.02", "value = nan", "finite"),
        ("high = 0.03", "high = 7", "physical limits"),
        ('unit = "1"', 'unit = "mm"', "the vocabulary has '1'"),
        ('source = "memory"', 'source = "memry"', "did you mean 'memory'"),
        ('source = "memory"', "source = []", "has no source"),
        ('grade = "estimate"', 'grade = "estimat"', "did you mean 'estimate'"),
        (', grade = "estimate"', "", "'grade' is missing"),
        ("low = 0.01", "low = 0.01, lowest = 0", "'lowest' is not known"),
        ("spray_loss_share", "spray_loss_shar", "did you mean 'spray_loss_share'"),
        ('label = "Day"\n', "", "no label"),
        ('label = "Day"', 'label = "Day"\nlike = "nihgt"', "no earlier entry 'nihgt'"),
        ("[day]\n", "", "outside of any entry"),
        ("[day]", "[day", "losses.toml"),
    ],
)
def test_faulty_files_are_refused(catalog: Catalog, old: str, new: str, told: str) -> None:
    text = f'[day]\nlabel = "Day"\nspray_loss_share = {GOOD}\n'
    assert old in text
    with pytest.raises(FaultyInput, match=told):
        read_catalog({**catalog.texts, "losses": text.replace(old, new)})


def test_a_range_is_exceeded_by_grade_and_stays_within_limits(catalog: Catalog) -> None:
    """A guessed range is passed 1 time in 10 on each side, any other 1 time in 20."""
    guessed = catalog.range_of("species", "kentucky_bluegrass", "wilt_ks")
    assert (guessed.low, guessed.high, guessed.chance) == (0.15, 0.5, 0.10)
    assert guessed.likely == catalog.get("species", "kentucky_bluegrass")["wilt_ks"]
    assert (guessed.least, guessed.most) == (0.01, 0.99)
    printed = catalog.range_of("species", "kentucky_bluegrass", "kc_summer")
    assert printed.chance == 0.05
    own = catalog.with_overrides({WILT_KS: 0.3}).range_of(*WILT_KS.split("."))
    assert own.closed
    assert own.likely == 0.3
    for kind, known in catalog.entries.items():
        for key, entry in known.items():
            for name in entry.numbers:
                catalog.range_of(kind, key, name)
