"""Names in a scenario file, for tables that refer to them.

Names are read from the file before it is checked, so that a wrong reference is reported together
with every other fault.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from pydantic import AfterValidator, ValidationInfo

from drysward.scenario.values import known_name


@dataclass(frozen=True)
class Named:
    """Names in a file, right or wrong: the context for the validation of its tables.

    ``periods`` are those of each source's allowances.
    """

    fields: tuple[str, ...]
    plans: tuple[str, ...]
    sources: tuple[str, ...]
    catchments: tuple[str, ...]
    root_zones: tuple[str, ...]
    delivery: tuple[str, ...]
    storage: bool
    tariffs: bool
    site_supply: bool
    feeding: bool = False
    periods: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    @classmethod
    def in_file(cls, raw: Mapping[str, Any]) -> Named:
        """The names in the tables of a file that has not been checked."""
        site, supply, fields = (_table(raw, key) for key in ("site", "supply", "fields"))
        sources = _table(supply, "sources")
        return cls(
            fields=tuple(fields),
            plans=tuple(_table(raw, "plans")),
            sources=tuple(sources),
            catchments=tuple(_table(supply, "catchments")),
            root_zones=_named_by_fields(fields, "root_zone", "like"),
            delivery=_named_by_fields(fields, "delivery", "system"),
            storage="storage" in supply,
            tariffs=any("tariff" in _table(sources, key) for key in sources),
            site_supply="supply" in site,
            feeding=any("feeding" in _table(fields, key) for key in fields),
            periods={key: tuple(_table(_table(sources, key), "allowance")) for key in sources},
        )

    def can_be_sized(self, what: str) -> tuple[str, ...]:
        """Names of sources or catchments with the size ``what``; storage has no name."""
        if what == "storage":
            return ("",) if self.storage else ()
        return self.catchments if what == "catchment area" else self.sources


def _table(raw: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    found = raw.get(key)
    return found if isinstance(found, dict) else {}


def _named_by_fields(fields: Mapping[str, Any], key: str, name: str) -> tuple[str, ...]:
    """Names under ``key`` of the fields: a bare name, or the ``name`` of a table."""
    found = (_table(fields, field).get(key) for field in fields)
    bare = (one.get(name) if isinstance(one, dict) else one for one in found)
    return tuple(one for one in bare if isinstance(one, str))


def names_of(info: ValidationInfo) -> Named:
    """The file's names, inside a validator."""
    assert isinstance(info.context, Named), "tables are validated with Named as context"
    return info.context


def named_in(what: str, *others: str) -> AfterValidator:
    """Accepts names that the file has in its ``what``, an attribute of ``Named``, or ``others``."""

    def known(text: str, info: ValidationInfo) -> str:
        return known_name(text, (*getattr(names_of(info), what), *others))

    return AfterValidator(known)
