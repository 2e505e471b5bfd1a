"""What a scenario file names, for tables that refer to it.

The names are taken from the file before it is checked, so that a wrong reference is told together
with every other fault.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pydantic import AfterValidator, ValidationInfo

from drysward.scenario.values import known_name


@dataclass(frozen=True)
class Named:
    """What a file names, right or wrong: the context in which its tables are validated."""

    fields: tuple[str, ...]
    plans: tuple[str, ...]
    sources: tuple[str, ...]
    catchments: tuple[str, ...]
    storage: bool
    site_supply: bool

    @classmethod
    def in_file(cls, raw: Mapping[str, Any]) -> Named:
        """The names in the tables of a file that has not been checked."""
        site, supply = _table(raw, "site"), _table(raw, "supply")
        return cls(
            fields=tuple(_table(raw, "fields")),
            plans=tuple(_table(raw, "plans")),
            sources=tuple(_table(supply, "sources")),
            catchments=tuple(_table(supply, "catchments")),
            storage="storage" in supply,
            site_supply="supply" in site,
        )

    def can_be_sized(self, what: str) -> tuple[str, ...]:
        """Names of what has the size ``what``; the one storage has none of its own."""
        if what == "storage":
            return ("",) if self.storage else ()
        return self.catchments if what == "catchment area" else self.sources


def _table(raw: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    found = raw.get(key)
    return found if isinstance(found, dict) else {}


def names_of(info: ValidationInfo) -> Named:
    """The file's names, inside a validator."""
    assert isinstance(info.context, Named), "tables are validated with Named as context"
    return info.context


def named_in(what: str) -> AfterValidator:
    """Lets a name pass that the file has among its ``what``, an attribute of ``Named``."""

    def known(text: str, info: ValidationInfo) -> str:
        return known_name(text, getattr(names_of(info), what))

    return AfterValidator(known)
