"""The sizing of a scenario file: the size to find, and the condition that it must meet."""

import math
from collections.abc import Mapping
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Field, ValidationInfo, model_validator

from drysward.faults import nearest, quoted
from drysward.quantities import AREA, FLOW, VOLUME, Kind
from drysward.scenario.model import ANY_FIELD, SIZES, Answers, Sizing, Sought
from drysward.scenario.names import Named, named_in, names_of
from drysward.scenario.supply_tables import PERIODS
from drysward.scenario.values import (
    AS_SHARE,
    Described,
    Flaws,
    Odds,
    Part,
    Text,
    in_table,
    one_of,
    read,
    refuse,
    within,
)

STORAGE, RATE, ALLOWANCE, CATCHMENT = SIZES
SHORTAGE = "shortage"
OUTCOMES = ("footprint", "wilt", "dormant", "dead", SHORTAGE)
# Default when neither sizing nor answers state it (own choice).
SHORTAGE_SHARE, ODDS = 0.05, 0.10

# Kinds of quantity of the bounds of a size.
SIZE_KINDS: Mapping[str, Kind] = {
    STORAGE: VOLUME,
    RATE: FLOW,
    ALLOWANCE: VOLUME,
    CATCHMENT: AREA,
}


# What people call it, and what to write.
_MEANT = {
    **dict.fromkeys(("pond", "tank", "reservoir", "capacity"), quoted(STORAGE)),
    **dict.fromkeys(
        ("well", "mains", "stream", "rate"), f'what = "{RATE}", of = the key of a source'
    ),
    **dict.fromkeys(("catchment", "roof"), quoted(CATCHMENT)),
}


class SoughtTable(Part):
    what: Annotated[str, one_of(*SIZES, meant=_MEANT)]
    of: Text | None = None
    per: Annotated[str, one_of(*PERIODS)] | None = None
    low: object = None
    high: object = None

    @model_validator(mode="after")
    def _can_be_sized(self, info: ValidationInfo) -> Self:
        named = names_of(info)
        names = named.can_be_sized(self.what)
        flaws: Flaws = []
        if not names:
            others = [f"'{size}'" for size in SIZES if named.can_be_sized(size)]
            allowed = "can be sized: " + ", ".join(others) if others else "write supply"
            flaws.append(("what", f"the scenario has no {self.what} to size", allowed))
        elif names == ("",):
            if self.of is not None:
                flaws.append(("of", "there is one storage", "leave it out"))
        elif self.of is None and len(names) > 1:
            flaws.append(("of", "is missing", "one of " + ", ".join(names)))
        elif self.of is not None and self.of not in names:
            flaws.append(("of", f"no {quoted(self.of)}", nearest(self.of, names)))
        if self.per is not None and self.what != ALLOWANCE:
            flaws.append(("per", f"'{self.what}' is not by period", f"with what = '{ALLOWANCE}'"))
        for key in ("low", "high"):
            try:
                self.bound(key)
            except ValueError as error:
                message, _, allowed = str(error).partition("; ")
                flaws.append((key, message, allowed))
        # A bound that is left out is NaN, and no comparison holds.
        if not flaws and self.bound("low") >= self.bound("high"):
            flaws.append(("high", "is not more than low", "more than low"))
        refuse(flaws)
        return self

    def bound(self, key: str) -> float:
        """``low`` or ``high`` in base units, NaN when it is left out."""
        written: Any = getattr(self, key)
        return math.nan if written is None else read(written, SIZE_KINDS[self.what])


SoughtOrName = Annotated[SoughtTable, BeforeValidator(in_table("what"))]


_ONE_FIELD = f"the key of a field, or '{ANY_FIELD}' for all of them"


def one_field(value: object) -> object:
    """ValueError for several fields."""
    if value is not None and not isinstance(value, str):
        raise ValueError(f"{quoted(value)} is not one field; {_ONE_FIELD}")
    return value


class KeepTable(Part):
    outcome: Annotated[str, one_of(*OUTCOMES)] = "dead"
    field: Annotated[
        Annotated[str, named_in("fields", ANY_FIELD)] | None,
        BeforeValidator(Described(one_field, _ONE_FIELD)),
    ] = None
    share: Annotated[float, AS_SHARE, Field(ge=0.0, lt=1.0)] | None = None
    odds: Odds | None = None
    return_period: Annotated[float, within("asked_return_period")] | None = None

    @model_validator(mode="after")
    def _hangs_together(self) -> Self:
        flaws: Flaws = []
        if self.odds is not None and self.return_period is not None:
            flaws.append(("return_period", "conflicts with odds", "keep one of them"))
        if self.outcome == SHORTAGE and self.field is not None:
            flaws.append(("field", "a shortage is that of the whole site", "leave it out"))
        refuse(flaws)
        return self


class SizingTable(Part):
    plan: Annotated[str, named_in("plans")]
    find: SoughtOrName
    keep: KeepTable = KeepTable()
    against: SoughtOrName | None = None
    points: Annotated[int, Field(ge=2, le=200)] = 12

    @model_validator(mode="after")
    def _two_sizes(self, info: ValidationInfo) -> Self:
        if self.against is not None:
            find, against = (_sought(part, names_of(info)) for part in (self.find, self.against))
            if (find.what, find.of, find.per) == (against.what, against.of, against.per):
                refuse([("against", "is the same as find", "another size, or leave it out")])
        return self


def sizing_spec(table: SizingTable, named: Named, answers: Answers) -> Sizing:
    """The model's sizing; by default a stage counts as reached as in the answers.

    A goal that names no field is that of the only one, or of any: the safest meaning.
    """
    keep = table.keep
    field = "" if keep.outcome == SHORTAGE else keep.field or ANY_FIELD
    if field == ANY_FIELD and len(named.fields) == 1:
        (field,) = named.fields
    share = answers.reached.get(keep.outcome, SHORTAGE_SHARE) if keep.share is None else keep.share
    odds = 1.0 / keep.return_period if keep.return_period else keep.odds or ODDS
    return Sizing(
        plan=table.plan,
        find=_sought(table.find, named),
        outcome=keep.outcome,
        field=field,
        share=share,
        odds=odds,
        against=_sought(table.against, named) if table.against else None,
        points=table.points,
    )


def _sought(table: SoughtTable, named: Named) -> Sought:
    (only, *_) = named.can_be_sized(table.what)
    of = table.of or only
    (period, *others) = named.periods.get(of, ()) or ("year",)
    return Sought(
        what=table.what,
        of=of,
        per=table.per or ("year" if others or table.what != ALLOWANCE else period),
        low=table.bound("low"),
        high=table.bound("high"),
    )
