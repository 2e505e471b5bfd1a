"""Texture class of a soil from its sand and clay: the USDA triangle."""

from __future__ import annotations

from drysward.faults import Fault, FaultyInput


def check_texture(sand_pct: float, clay_pct: float) -> None:
    """Raise FaultyInput unless sand and clay are 0 to 100 % and together not above 100 %."""
    faults = [
        Fault(name, f"{value} is not a share of the soil", "0 to 100 %")
        for name, value in (("sand_pct", sand_pct), ("clay_pct", clay_pct))
        if not 0 <= value <= 100
    ]
    if not faults and sand_pct + clay_pct > 100 + 1e-9:
        total = sand_pct + clay_pct
        faults = [Fault("sand_pct, clay_pct", f"sum to {total:g} %", "at most 100 %")]
    if faults:
        raise FaultyInput(faults)


def texture_class(sand_pct: float, clay_pct: float) -> str:
    """Texture class of the fine earth, in words joined by underscores ("sandy_loam").

    Parameters
    ----------
    sand_pct, clay_pct : percent by mass; the rest is silt.

    Raises
    ------
    FaultyInput
        A share is outside 0 to 100, or the two pass 100 together.

    Source: USDA Soil Survey Manual; class limits as Benham & Ahrens 2009 write them for sand,
    loamy sand and the first sandy loam rule, the rest from memory.
    """
    check_texture(sand_pct, clay_pct)
    sand, clay = sand_pct, clay_pct
    silt = max(0.0, 100 - sand - clay)
    if silt + 1.5 * clay < 15:
        return "sand"
    if silt + 2 * clay < 30:
        return "loamy_sand"
    if clay >= 40:
        if sand > 45:
            return "sandy_clay"
        return "silty_clay" if silt >= 40 else "clay"
    if clay >= 35 and sand > 45:
        return "sandy_clay"
    if clay >= 27 and sand <= 45:
        return "clay_loam" if sand > 20 else "silty_clay_loam"
    if clay >= 20 and sand > 45 and silt < 28:
        return "sandy_clay_loam"
    if silt >= 80 and clay < 12:
        return "silt"
    if silt >= 50:
        return "silt_loam"
    if clay >= 7 and sand <= 52:
        return "loam"
    return "sandy_loam"
