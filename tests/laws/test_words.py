"""The code and its messages use the words of the field, one word for one meaning.

Names are read as tokens, texts as comments, docstrings and messages. A word is forbidden where an
exact one exists: the pattern stands before the word to use.
"""

import io
import re
import tokenize
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest

ROOMS = (
    "", "day", "drive", "physics", "site", "weather", "scenario", "studies", "results", "screen",
    "pages", "cli",
)  # fmt: skip
"""Packages of drysward that are checked; "" are the modules at its root."""

NAMES = {
    "told": "text, reported, description",
    "tell": "report, write",
    "tells": "states",
    "asked": "demand, requested",
    "ask": "request",
    "asks": "demands, requests",
    "asking": "demand",
    "wanted": "expected, demand",
    "wants": "demands",
    "wish": "demand",
    "looked": "checked",
    "looks": "checks",
    "granted": "delivered",
    "heard": "received",
    "learn": "observe",
    "invaders": "weed_prone",
    "given": "measured, stated, raw",
    "made": "simulated, written, built",
}
"""Parts of names, as they stand between underscores -> words to use."""

ALLOWED = {
    "made_up", "made_up_by", "MADE_UP",  # of a shortage: the word of the trade
    "MADE_YEARS", "MADE_WEATHER",
    "asked_return_period",
}  # fmt: skip

BRITISH = (
    r"catalogue|labour|favour|neighbour|vapour|behaviour|colour|travell|modell|mould|centre"
    r"|(?:\b|milli|kilo|micro)metre|\blitre|summaris|judgement|programme\b"
)
"""Spellings that no text, name or key has."""

TEXTS = {
    r"\btold\b|\btells?\b": "reported, states",
    r"\blooked (at|for|through)\b|\blooks? (at|for|through)\b": "checked, has play",
    r"\bof (its|their|his) own\b": "separate",
    r"\b(asked|asks) (for|of)\b|\bis asked\b": "requested, demand",
    r"\bwhat is wanted\b|\bas wanted\b": "demand, expected",
    r"answer season": "season",
    r"\bmade years?\b|\byears made\b|\breal years?\b|\bdrawn again\b": "simulated, resampled year",
    r"\bin-vaders\b|\binvaders\b": "weed-prone",
    r"\bfoot-print|\bdor-mant": "footprint, dormant",
    r"\bin store\b|\bthe store\b": "storage",
    r"\bgranted\b": "delivered",
    r"\bwhoever\b|\bnobody\b": "name the subject",
    r"\bnought\b": "0, zero",
    r"\d %": "60% without a space",
    r"\bcannot be;": "is out of range",
}
"""Patterns in comments, docstrings and messages -> words to use."""

CONFIGS = (
    "vocabulary", "sources", "delivery", "play", "feeding", "supply", "turf_processes",
    "root_zones", "species", "intake", "soils",
)  # fmt: skip


def modules(room: str) -> Iterator[Path]:
    folder = Path(str(files("drysward"))) / room
    yield from sorted(folder.glob("*.py") if room == "" else folder.rglob("*.py"))


def tokens(path: Path) -> list[tokenize.TokenInfo]:
    return list(tokenize.generate_tokens(io.StringIO(path.read_text("utf-8")).readline))


def without_code(text: str) -> str:
    """A comment or string without names in backticks or braces, and without keys of users."""
    return re.sub(r"``[^`]*``|`[^`]*`|\{[^{}]*\}", "", text)


@pytest.mark.parametrize("room", ROOMS)
def test_names_use_the_words_of_the_field(room: str) -> None:
    wrong = [
        f"{path.name}:{token.start[0]}: {token.string} ({NAMES[part]})"
        for path in modules(room)
        for token in tokens(path)
        if token.type == tokenize.NAME and token.string not in ALLOWED
        for part in token.string.lower().split("_")
        if part in NAMES
    ]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("room", ROOMS)
def test_texts_use_the_words_of_the_field(room: str) -> None:
    wrong = [
        f"{path.name}:{token.start[0]}: {found[0]} ({better})"
        for path in modules(room)
        for token in tokens(path)
        if token.type in (tokenize.COMMENT, tokenize.STRING) and " " in token.string
        for pattern, better in TEXTS.items()
        for found in re.finditer(pattern, without_code(token.string))
    ]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("name", CONFIGS)
def test_meanings_and_notes_use_the_words_of_the_field(name: str) -> None:
    text = files("drysward.configs").joinpath(f"{name}.toml").read_text("utf-8")
    said = re.findall(r'(?:meaning|long_name|note|label) = "([^"]*)"|^#(.*)$', text, re.M)
    wrong = [
        f"{found[0]} ({better}): {line}"
        for line in ("".join(parts) for parts in said)
        for pattern, better in TEXTS.items()
        for found in re.finditer(pattern, line)
    ]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("package", ["drysward", "drysward.configs", "drysward.scenarios"])
def test_spelling_is_american(package: str) -> None:
    kinds = (".py", ".toml", ".j2", ".js", ".json")
    wrong = [
        f"{path.name}:{number}: {found[0]}"
        for path in sorted(Path(str(files(package))).rglob("*"))
        if path.suffix in kinds
        for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1)
        for found in re.finditer(BRITISH, line, re.IGNORECASE)
    ]
    assert not wrong, "\n".join(wrong)
