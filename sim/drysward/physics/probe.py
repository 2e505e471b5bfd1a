"""What a probe in the ground reads, from the water of the layers that its rods pass."""

from __future__ import annotations

from drysward.compiled import equation


@equation
def water_in_part_mm(
    water: float,
    wilting_point: float,
    field_capacity: float,
    saturation: float,
    part_wilting_point: float,
    part_field_capacity: float,
    part_saturation: float,
) -> float:
    """Water (mm) in a part of a layer that holds ``water``, as wet all through.

    Parameters
    ----------
    wilting_point, field_capacity, saturation : water of the layer at these (mm).
    part_wilting_point, part_field_capacity, part_saturation : water of the part at these (mm).

    The part has the layer's share of available water, and above field capacity its share of the
    pores that drain. Source: own estimate; a balance of layers knows no more.
    """
    available = (water - wilting_point) / (field_capacity - wilting_point)
    dry = part_wilting_point + available * (part_field_capacity - part_wilting_point)
    drains = saturation - field_capacity
    share = (water - field_capacity) / drains if drains > 0.0 else 0.0
    wet = part_field_capacity + share * (part_saturation - part_field_capacity)
    return wet if water > field_capacity else dry


@equation
def probe_reading(moisture: float, offset: float, gain: float) -> float:
    """Water by volume (0..1) that a probe shows where its rods pass a mean of ``moisture``.

    Rods average over their length, from the surface down. ``offset`` and ``gain`` are those of the
    probe in this soil. Source: manual of a handheld meter (from memory); form own estimate.
    """
    return offset + gain * moisture
