"""A scenario with tables left out or changed, as the text that a file of it would have.

Draws read the text of a scenario anew, so that what is changed must be in its text.
"""

from __future__ import annotations

from typing import Any

import tomli_w

from drysward.faults import Fault, FaultyInput

Tree = dict[str, Any]


def without_supply(tree: Tree) -> Tree:
    """The tables without [supply], [sizing] and the price of a storage, and water without limit.

    FaultyInput where there is no supply.
    """
    if "supply" not in tree:
        what = "finds no [supply] in the scenario"
        raise FaultyInput(Fault("--without-supply", what, "the command without the option"))
    out = {key: table for key, table in tree.items() if key not in ("supply", "sizing")}
    if isinstance(costs := tree.get("costs"), dict):
        out["costs"] = {key: price for key, price in costs.items() if key != "pond"}
    return out


def sized_for(tree: Tree, plan: str) -> Tree:
    """The tables with the ``plan`` in place of that of [sizing]."""
    if not isinstance(sizing := tree.get("sizing"), dict):
        return tree
    return {**tree, "sizing": {**sizing, "plan": plan}}


def toml_of(tree: Tree) -> str:
    """The tables as TOML, without comments."""
    return tomli_w.dumps(tree)
