"""A scenario with tables left out or changed, as the text that a file of it would have.

Draws read the text of a scenario anew, so that what is changed must be in its text.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

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
    return "\n".join(_lines(tree, ())) + "\n"


def _lines(table: Mapping[str, Any], path: tuple[str, ...]) -> Iterator[str]:
    if path and (not table or any(not isinstance(value, dict) for value in table.values())):
        yield f"\n[{'.'.join(map(_key, path))}]"
    for key, value in table.items():
        if not isinstance(value, dict):
            yield f"{_key(key)} = {_value(value)}"
    for key, value in table.items():
        if isinstance(value, dict):
            yield from _lines(value, (*path, key))


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else _text(key)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, dict):
        inside = (f"{_key(key)} = {_value(one)}" for key, one in value.items())
        return f"{{ {', '.join(inside)} }}"
    return str(value)


def _text(text: str) -> str:
    # TOML has the escapes of JSON, and wants one for DEL too.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
