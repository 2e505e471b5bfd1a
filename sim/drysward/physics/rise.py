"""Upward flow of water from the subsoil to the roots (mm)."""

from __future__ import annotations

from drysward.compiled import equation


@equation
def upward_flow(most: float, root_wetness: float, subsoil_wetness: float) -> float:
    """Upward flow from the subsoil to the roots: none into a wet root zone, none from dry subsoil.

    Wetness is the share of available water, limited to 0..1. Source: own estimate of the form;
    the rate by soil is a parameter with a separate grade.
    """
    return most * (1.0 - root_wetness) * subsoil_wetness
