"""Text from files and command lines, made harmless where it reaches a terminal."""

from __future__ import annotations

import unicodedata

import click


def visible(text: str) -> str:
    r"""The text with unprintable characters escaped, such as a terminal's commands (``\x1b``) and
    marks that turn the direction of writing (``\u202e``); ends of lines, tabs and blanks stay.
    """
    return text if text.isprintable() else "".join(map(_visible, text))


def say(text: str, err: bool = False) -> None:
    """Print a line on stdout, or on stderr; all output of commands goes here or to a console."""
    click.echo(visible(text), err=err)


def _visible(char: str) -> str:
    if char.isprintable() or char in "\n\t" or unicodedata.category(char) == "Zs":
        return char
    return char.encode("unicode_escape").decode("ascii")
