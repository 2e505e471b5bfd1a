"""Units and meaning of the variables of Datasets, from the one vocabulary."""

from __future__ import annotations

import xarray as xr

from drysward.catalog import Term, load_catalog
from drysward.day.records import STAGES
from drysward.quantities import SYSTEMS

SHOWN_IN = "shown_in"
"""Attribute of a result: the system of units that its scenario has answers in."""

_TEXT = "OUS"
_DATES = "mM"


def shown_in(result: xr.Dataset) -> str:
    """The system of units that the scenario of a result has answers in; older files do not say."""
    return str(result.attrs.get(SHOWN_IN, SYSTEMS[0]))


def stage_coordinate() -> tuple[str, list[str], dict[str, str]]:
    """The coordinate of the stages of the turf: in a ledger ``stage`` is a restriction stage."""
    return "stage", list(STAGES), {"long_name": "stage of the turf"}


def units_and_name(name: str, values: xr.DataArray) -> tuple[str, str]:
    """Units and long name: as the variable has them, else from the vocabulary."""
    term = _term(name)
    units, long_name = (term.units, term.long_name) if term else ("", name.replace("_", " "))
    return values.attrs.get("units", units), values.attrs.get("long_name", long_name)


def with_terms(dataset: xr.Dataset, of: str = "") -> xr.Dataset:
    """The Dataset with units and long name of every variable and coordinate that lacks them.

    What the vocabulary names is explained by ``comment`` too. Text and dates have no units. ``of``
    begins the names that come first in the vocabulary: ``daily_`` for numbers of a day, which may
    have the name of a number of a year.
    """
    named = {}
    for name, variable in dataset.variables.items():
        term = _term(f"{of}{name}") or _term(str(name))
        if term is None:
            continue
        attrs = dict(variable.attrs)
        if variable.dtype.kind not in _TEXT + _DATES:
            attrs.setdefault("units", term.units)
        if "long_name" not in attrs:
            attrs |= {"long_name": term.long_name, "comment": term.meaning}
        named[name] = attrs
    out = dataset.copy()
    for name, attrs in named.items():
        # In the place of the old attributes, which other Datasets may share.
        out[name].attrs = attrs
    return out


def _term(name: str) -> Term | None:
    catalog = load_catalog()
    return catalog.quantities.get(name) or catalog.derived.get(name)
