"""Soil profile of a field, from a construction in the catalog and changes by the scenario."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from drysward.catalog import Catalog, Entry
from drysward.physics.curve_number import retention_mm
from drysward.physics.intake import intake_by_slope, storage_by_slope
from drysward.physics.pedotransfer import (
    Hydraulics,
    conductivity_mm_h,
    from_texture,
    hydrologic_group,
    pore_index,
    with_errors,
)
from drysward.physics.retention import RetentionCurve
from drysward.scenario.model import SKINNED, USUAL_SLOPE, FieldSpec, RootZoneSpec
from drysward.site.profile import (
    BARRIER,
    Profile,
    native_profile,
    sand_cap_profile,
    sand_profile,
)

SAND_OVER_GRAVEL, SAND_CAP, NATIVE = "sand over gravel", "sand cap over native", "native"
_GROUPS = "abcd"
# A sand surface counts as hydrologic group A, and no sprinkler exceeds its intake.
_SAND_GROUP = 0
_SAND_SURFACE_STORAGE_MM = 10.0


@dataclass(frozen=True, eq=False)
class RootZone:
    """A profile with the numbers of its construction.

    ``intake_mm_h`` is the largest sprinkler rate without runoff, ``most_depth_mm`` the largest
    application that is good practice on it.
    """

    kind: str
    profile: Profile
    curve_number: float
    retention_mm: float
    intake_mm_h: float
    surface_storage_mm: float
    most_depth_mm: float
    rew_mm: float
    upward_max_mm_d: float
    subsoil_feeding: float
    root_factor: float
    hydrologic_group: str
    loose_density: float | None  # of the native soil by its texture, uncompacted; g/cm3


def _hydraulics(
    catalog: Catalog, soil_key: str, compaction_key: str, measured: Mapping[str, float]
) -> Hydraulics:
    soil = catalog.get("soils", soil_key)
    derived = from_texture(
        soil["sand"] / 100.0,
        soil["clay"] / 100.0,
        soil["organic_matter"],
        catalog.get("compaction", compaction_key)["density_factor"],
    )
    if not measured:
        errors = catalog.get("soil_errors", "texture")
        return with_errors(
            derived,
            errors["wilting_point_error"],
            errors["field_capacity_error"],
            errors["saturation_error"],
            errors["conductivity_error"],
        )
    wilting = measured.get("wilting_point", derived.wilting_point)
    capacity = measured.get("field_capacity", derived.field_capacity)
    saturation = measured.get("saturation", derived.saturation)
    return Hydraulics(
        wilting_point=wilting,
        field_capacity=capacity,
        saturation=saturation,
        ksat_mm_h=measured.get("ksat_mm_h", conductivity_mm_h(wilting, capacity, saturation)),
        pore_index=pore_index(wilting, capacity),
        bulk_density=(1.0 - saturation) * 2.65,
    )


def intake_mm_h(soil: Entry, slope: float, bare: bool) -> float:
    """Largest sprinkler rate without runoff on an uncompacted soil of ``intake.toml`` (mm/h)."""
    cover = "bare" if bare else "covered"
    return intake_by_slope(
        slope,
        soil[f"intake_{cover}_to_5"],
        soil[f"intake_{cover}_to_8"],
        soil[f"intake_{cover}_to_12"],
        soil[f"intake_{cover}_steeper"],
    )


def field_root_zone(spec: FieldSpec, catalog: Catalog) -> RootZone:
    """The root zone of a field, with its slope and cover. FaultyInput as ``build_root_zone``."""
    return build_root_zone(spec.root_zone, catalog, spec.slope, spec.surface == SKINNED)


def build_root_zone(
    spec: RootZoneSpec, catalog: Catalog, slope: float = USUAL_SLOPE, bare: bool = False
) -> RootZone:
    """The root zone of a spec. FaultyInput for names that the catalog does not have."""
    entry = catalog.get("root_zones", spec.like)
    numbers = {name: parameter.value for name, parameter in entry.numbers.items()}
    numbers.update(spec.numbers)
    words = {**entry.words, **spec.words}
    kind = words["kind"]
    base = words["base"]
    good_cover = catalog.get("curve_numbers", "good")

    sand: Profile | None = None
    if kind in (SAND_OVER_GRAVEL, SAND_CAP):
        curve = RetentionCurve(
            numbers["theta_s"], numbers["theta_r"], numbers["alpha"], numbers["n"]
        )
        depth = numbers["cap_depth_mm"] if kind == SAND_CAP else numbers["depth_mm"]
        sand = sand_profile(curve, depth, numbers["base_suction_cm"], numbers["ksat"], base)
    if kind == SAND_OVER_GRAVEL:
        assert sand is not None
        return RootZone(
            kind=kind,
            profile=sand,
            curve_number=good_cover[_GROUPS[_SAND_GROUP]],
            retention_mm=retention_mm(good_cover[_GROUPS[_SAND_GROUP]]),
            intake_mm_h=sand.intake_mm_h,
            surface_storage_mm=_SAND_SURFACE_STORAGE_MM,
            most_depth_mm=catalog.get("intake", "sand")["most_depth"],
            rew_mm=numbers["rew"],
            upward_max_mm_d=0.0,
            subsoil_feeding=0.0,
            root_factor=1.0,
            hydrologic_group=_GROUPS[_SAND_GROUP].upper(),
            loose_density=None,
        )

    compaction = catalog.get("compaction", words.get("compaction", "none"))
    soil = catalog.get("soils", words["soil"])
    intake = catalog.get("intake", words["soil"])
    hydraulics = _hydraulics(catalog, soil.key, compaction.key, spec.measured)
    native_intake = intake_mm_h(intake, slope, bare) * compaction["intake_factor"]
    native_depth = numbers["native_depth_mm"] if kind == SAND_CAP else numbers["depth_mm"]
    profile = native_profile(hydraulics, native_depth, base, native_intake)
    # The group is that of the uncompacted soil; compaction shifts it by a separate number.
    loose = _hydraulics(catalog, soil.key, "none", spec.measured)
    group = _GROUPS.index(hydrologic_group(loose.ksat_mm_h, native_depth, base == BARRIER))
    rew = soil["rew"]
    storage = storage_by_slope(slope, intake["surface_storage"], intake["surface_storage_steep"])
    if sand is not None:
        profile = sand_cap_profile(sand, profile)
        group, rew, storage = _SAND_GROUP, numbers["rew"], _SAND_SURFACE_STORAGE_MM
        intake = catalog.get("intake", "sand")
    else:
        group = min(group + int(compaction["hydrologic_group_shift"]), 3)
    number = good_cover[_GROUPS[group]]
    return RootZone(
        kind=kind,
        profile=profile,
        curve_number=number,
        retention_mm=retention_mm(number),
        intake_mm_h=profile.intake_mm_h,
        surface_storage_mm=storage,
        most_depth_mm=intake["most_depth"],
        rew_mm=rew,
        upward_max_mm_d=soil["upward_flow_max"],
        subsoil_feeding=0.0 if base == BARRIER else soil["subsoil_feeding"],
        root_factor=compaction["root_factor"] if sand is None else 1.0,
        hydrologic_group=_GROUPS[group].upper(),
        loose_density=_hydraulics(catalog, soil.key, "none", {}).bulk_density,
    )
