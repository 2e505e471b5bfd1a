"""``drysward show``: the scenarios and sweeps that ship with the program, to read and to copy."""

from __future__ import annotations

import click

from drysward.cli.arguments import ShippedName


@click.command()
@click.argument("name", default="", type=ShippedName())
def command(name: str) -> None:
    """Print a scenario or sweep that ships with the program; without NAME list them.

    \b
    drysward show demo > my-fields.toml      a file of your own to start from
    """
    from drysward.faults import Fault, FaultyInput, nearest
    from drysward.inputs import toml_tables
    from drysward.scenario.load import shipped_texts
    from drysward.screen.visible import say

    texts = shipped_texts()
    if name in texts:
        say(texts[name].rstrip("\n"))
    elif name:
        raise FaultyInput(Fault("show", f"nothing ships as '{name}'", nearest(name, texts)))
    else:
        width = max(map(len, texts))
        for key, text in texts.items():
            say(f"{key:<{width}}  {toml_tables(key, text)['title']}")
        say("\nPrint one: drysward show demo    Start your own: drysward init my-fields.toml")
