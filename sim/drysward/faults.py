"""Faults of input: collected, located, and told in one line each."""

from __future__ import annotations

import difflib
import re
import reprlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing wrong with an input.

    Parameters
    ----------
    where : file and line, or file and dotted key.
    what : the fault, as a sentence without its full stop.
    allowed : what would be accepted instead; empty when ``what`` says it already.
    """

    where: str
    what: str
    allowed: str = ""

    def __str__(self) -> str:
        tail = f"; {self.allowed}" if self.allowed else ""
        return f"{self.where}: {self.what}{tail}"


class FaultyInput(Exception):
    """Input that cannot be used. Carries every fault found, not only the first."""

    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class CannotDraw(ValueError):
    """There is nothing to draw, or there are no years to tell the draws apart from."""


MOST_SHOWN = 60
"""Characters of input text that a message shows."""

_LIKELY_NAME = 100  # characters: likeness is not looked for in longer ones, where it takes long
_LOOKED_THROUGH = 1_000
_NAMES_TOLD = 40
MOST_TOLD = 100
"""Faults of one file that are told."""

# Tables whose keys are names that the writer of a file chose.
_NAMED = re.compile(r"^(fields|plans|supply\.sources|supply\.catchments|weather\.futures)\.[^.]+")
_SHORTENED = reprlib.Repr()
_SHORTENED.maxdict = _SHORTENED.maxlist = _SHORTENED.maxlevel = 4
_SHORTENED.maxstring = _SHORTENED.maxother = MOST_SHOWN


def quoted(value: object, bare: bool = False, most: int = MOST_SHOWN) -> str:
    """Input as a message shows it: text in quotes unless ``bare``, cut when it is long.

    What is cut says how long it was: ``'abc...' (40,000 characters)``.
    """
    text = value if isinstance(value, str) else _SHORTENED.repr(value)
    mark = "'" if isinstance(value, str) and not bare else ""
    if len(text) <= most:
        return f"{mark}{text}{mark}"
    return f"{mark}{text[:most]}...{mark} ({len(text):,} characters)"


def path_text(path: object) -> str:
    """The name of a file as a message shows it."""
    return quoted(str(path), bare=True, most=300)


def listed(names: Iterable[str], most: int = _NAMES_TOLD) -> str:
    """Names with commas between, ``most`` at most and a count of the rest."""
    all_names = list(names)
    told = ", ".join(quoted(name, bare=True) for name in all_names[:most])
    more = len(all_names) - most
    return f"{told} and {more:,} more" if more > 0 else told


def nearest(name: str, known: Iterable[str]) -> str:
    """The known name most like ``name`` as a hint, or the list of known names."""
    names: Sequence[str] = sorted(known)
    close = likest(name, names)
    return f"did you mean {quoted(close)}?" if close else "known: " + listed(names)


def likest(name: str, known: Iterable[str]) -> str:
    """The known name most like ``name``, "" when none is like it."""
    if len(name) > _LIKELY_NAME:
        return ""
    likely = [one for one in known if len(one) <= _LIKELY_NAME][:_LOOKED_THROUGH]
    return next(iter(difflib.get_close_matches(name, likely, n=1, cutoff=0.6)), "")


def alike_told_once(faults: Iterable[Fault], most: int = MOST_TOLD) -> list[Fault]:
    """Faults of several fields, plans or the like that say the same, as one that names them all.

    ``FILE: fields.a.area`` and ``FILE: fields.b.area`` become ``FILE: fields.a.area,
    fields.b.area``. At most ``most`` are told, and the rest counted.
    """
    together: dict[tuple[str, ...], list[Fault]] = {}
    for fault in faults:
        file, _, key = fault.where.rpartition(": ")
        kind = (file, _NAMED.sub(r"\1", key), fault.what, fault.allowed)
        together.setdefault(kind, []).append(fault)
    told = []
    for (file, *_), same in together.items():
        first = same[0]
        if len(same) > 1:
            keys = dict.fromkeys(fault.where.rpartition(": ")[2] for fault in same)
            where = listed(keys, 10)
            first = Fault(f"{file}: {where}" if file else where, first.what, first.allowed)
        told.append(first)
    if len(told) > most:
        file = told[0].where.partition(": ")[0]
        told = [*told[:most], Fault(file, f"and {len(told) - most:,} more faults")]
    return told
