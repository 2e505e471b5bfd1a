"""Fields that are alike but for one thing, such as two constructions of the same field.

Only one of them is built, so their water is not added up; they are compared.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from drysward.scenario.model import FieldSpec

ALTERNATIVES = "alternatives"
"""Attribute of a result: ``alternatives`` of its fields as JSON."""
BY_FIELD = "plans_by_field"
"""The same: fields on which a plan is another one, by plan."""

# What two fields may differ in, in the words of a reader -> parts of a field.
_PARTS = {
    "root zone": ("root_zone",),
    "turf": ("species", "stand", "mowing_height_mm", "reseed_day", "establish"),
    "irrigation system": ("delivery",),
}
# A root zone is fed as it needs: feeding may differ with it, where each field is fed.
_ALONG = {"root zone": "feeding"}
# Names, and who is served first in a shortage, are no part of a construction.
_ASIDE = ("key", "label", "priority")


@dataclass(frozen=True)
class Alternatives:
    """Keys of fields that differ in one thing, such as "root zone", and in nothing else.

    ``along``: what differs with it, such as "feeding"; "" for nothing.
    """

    differ_in: str
    fields: tuple[str, ...]
    along: str = ""


def alternatives(fields: Sequence[FieldSpec]) -> list[Alternatives]:
    """Groups of fields that differ in one thing each.

    Of several fields of each kind the first belongs with the first and the second with the second,
    in the order of the scenario.
    """
    of = {field.key: field for field in fields}
    found: list[Alternatives] = []
    for name, parts in _PARTS.items():
        along = _ALONG.get(name, "")
        for group in _groups(fields, parts, along):
            kinds = {repr(getattr(of[key], along)) for key in group} if along else {""}
            found.append(Alternatives(name, group, along if len(kinds) > 1 else ""))
    return found


def alternatives_text(fields: Sequence[FieldSpec]) -> str:
    """``alternatives`` for the attributes of a result."""
    return json.dumps([asdict(one) for one in alternatives(fields)])


def alternatives_of(attrs: Mapping[Any, Any], fields: Sequence[str]) -> list[Alternatives]:
    """Groups of a result among ``fields``; none in files of earlier versions."""
    read = json.loads(attrs.get(ALTERNATIVES, "[]"))
    kept = [
        Alternatives(
            one["differ_in"], tuple(f for f in one["fields"] if f in fields), one.get("along", "")
        )
        for one in read
    ]
    return [one for one in kept if len(one.fields) > 1]


def no_sum_text(attrs: Mapping[Any, Any], fields: Sequence[str]) -> str:
    """Why nothing is summed over ``fields``: only one of some of them is built; "" elsewhere."""
    if not alternatives_of(attrs, fields):
        return ""
    return "no sum over the fields: of fields that are alternatives only one is built"


def _groups(
    fields: Sequence[FieldSpec], parts: tuple[str, ...], along: str
) -> Iterator[tuple[str, ...]]:
    """``along``: the part whose content may differ too, where each field has it."""
    kinds: dict[tuple[str, str], int] = {}  # rest and kind -> how many came so far
    places: dict[tuple[str, int], list[str]] = {}
    for field in fields:
        whole = asdict(field)
        kind = repr([whole.pop(name) for name in parts])
        if along:
            whole[along] = whole[along] is not None
        rest = repr([value for name, value in whole.items() if name not in _ASIDE])
        turn = kinds[rest, kind] = kinds.get((rest, kind), 0) + 1
        places.setdefault((rest, turn), []).append(field.key)
    yield from (tuple(keys) for keys in places.values() if len(keys) > 1)
