"""Faults of input: collected, with their place, one line each."""

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
    paste : what mends it, on the line below a long fault; ``allowed`` leads to it.
    """

    where: str
    what: str
    allowed: str = ""
    paste: str = ""

    def __str__(self) -> str:
        return "\n".join(self.lines())

    def lines(self) -> list[str]:
        """The fault, and below it what to paste."""
        tail = f"; {self.allowed}" if self.allowed else ""
        lines = [f"{self.where}: {self.what}{tail}"]
        return [f"{lines[0]}:", f"    {self.paste}"] if self.paste else lines


class FaultyInput(Exception):
    """Input that cannot be used. Carries every fault found, not only the first."""

    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        self.faults: tuple[Fault, ...] = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class CannotDraw(ValueError):
    """There is nothing to draw, or there are too few years for draws."""


MOST_SHOWN = 60
"""Characters of input text that a message shows."""

_LEAST_PART, _MOST_NAMED = 4, 4
_STEM = 6  # letters of a word that it shares with words like it
_LIKELY_NAME = 100  # characters; the comparison of longer names takes too long
_MOST_COMPARED = 1_000
_NAMES_LISTED = 40
MOST_LISTED = 100
"""Faults of one file that are listed."""

# Tables whose keys are names chosen by the writer of the file.
_NAMED = re.compile(r"^(fields|plans|supply\.sources|supply\.catchments|weather\.futures)\.[^.]+")
_SHORTENED = reprlib.Repr()
_SHORTENED.maxdict = _SHORTENED.maxlist = _SHORTENED.maxlevel = 4
_SHORTENED.maxstring = _SHORTENED.maxother = MOST_SHOWN


def quoted(value: object, bare: bool = False, most: int = MOST_SHOWN) -> str:
    """Input as a message shows it: text in quotes unless ``bare``, shortened when it is long.

    A shortened text states its length: ``'abc...' (40,000 characters)``.
    """
    text = value if isinstance(value, str) else _SHORTENED.repr(value)
    mark = "'" if isinstance(value, str) and not bare else ""
    if len(text) <= most:
        return f"{mark}{text}{mark}"
    return f"{mark}{text[:most]}...{mark} ({len(text):,} characters)"


def path_text(path: object) -> str:
    """The path of a file as a message shows it."""
    return quoted(str(path), bare=True, most=300)


def listed(names: Iterable[str], most: int = _NAMES_LISTED) -> str:
    """Names separated by commas: ``most`` of them and a count of the others."""
    all_names = list(names)
    shown = ", ".join(quoted(name, bare=True) for name in all_names[:most])
    more = len(all_names) - most
    return f"{shown} and {more:,} more" if more > 0 else shown


def nearest(name: str, known: Iterable[str]) -> str:
    """A hint for a wrong name: the closest known name, or the list of known names."""
    names: Sequence[str] = sorted(known)
    # A name of which only some words were written, such as that of a grass.
    part = name.replace(" ", "_")
    whole = [one for one in names if len(name) >= _LEAST_PART and f"_{part}_" in f"_{one}_"]
    if whole:
        return f"did you mean {' or '.join(map(quoted, whole[:_MOST_NAMED]))}?"
    # Or an everyday name, such as that of a hybrid grass, or of a traveling machine.
    words = [word for word in part.lower().split("_") if len(word) > _LEAST_PART]
    close = closest_name(name, names)
    alike = [close] if close else [
        one for one in names if any(f"_{word[:_STEM]}" in f"_{one}" for word in words)
    ]  # fmt: skip
    if alike:
        return f"did you mean {' or '.join(map(quoted, alike[:_MOST_NAMED]))}?"
    return "known: " + listed(names)


def closest_name(name: str, known: Iterable[str], least: float = 0.6) -> str:
    """The known name closest to ``name``, "" when none is as similar as ``least`` (0..1)."""
    if len(name) > _LIKELY_NAME:
        return ""
    likely = [one for one in known if len(one) <= _LIKELY_NAME][:_MOST_COMPARED]
    return next(iter(difflib.get_close_matches(name, likely, n=1, cutoff=least)), "")


_PLURALS = {"is": "are", "has": "have", "takes": "take", "needs": "need", "does": "do"}


def _of_several(what: str) -> str:
    """``is not known here`` of several keys: ``are not known here``."""
    verb, space, rest = what.partition(" ")
    return f"{_PLURALS.get(verb, verb)}{space}{rest}"


def merged_alike(faults: Iterable[Fault], most: int = MOST_LISTED) -> list[Fault]:
    """Faults with the same text for several fields or plans, merged into one that names all keys.

    ``FILE: fields.a.area`` and ``FILE: fields.b.area`` become ``FILE: fields.a.area,
    fields.b.area``. At most ``most`` are listed; the last line counts the others.
    """
    together: dict[tuple[str, ...], list[Fault]] = {}
    for fault in faults:
        file, _, key = fault.where.rpartition(": ")
        kind = (file, _NAMED.sub(r"\1", key), fault.what, fault.allowed, fault.paste)
        together.setdefault(kind, []).append(fault)
    merged = []
    for (file, *_), same in together.items():
        first = same[0]
        if len(same) > 1:
            keys = dict.fromkeys(fault.where.rpartition(": ")[2] for fault in same)
            where = listed(keys, 10)
            what = _of_several(first.what) if len(keys) > 1 else first.what
            first = Fault(f"{file}: {where}" if file else where, what, first.allowed, first.paste)
        merged.append(first)
    if len(merged) > most:
        file = merged[0].where.partition(": ")[0]
        merged = [*merged[:most], Fault(file, f"and {len(merged) - most:,} more faults")]
    return merged
