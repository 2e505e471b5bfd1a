"""Water rising from the subsoil to the roots (mm)."""

from __future__ import annotations

from drysward.compiled import equation


@equation
def upward_flow(most: float, root_wetness: float, subsoil_wetness: float) -> float:
    """Water rising from the subsoil to the roots: none to wet roots, none from dry subsoil.

    Wetness is the share of available water, held to 0..1. Source: own estimate of the form;
    the rate by soil is a parameter with its own grade.
    """
    return most * (1.0 - root_wetness) * subsoil_wetness
