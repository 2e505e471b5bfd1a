"""``drysward catalog``: the parameters with their source and grade."""

from __future__ import annotations

import click

from drysward.cli.arguments import format_option


@click.command()
@click.argument("name", default="")
@format_option
def command(name: str, form: str) -> None:
    """Show parameters with their source and grade.

    NAME is a kind (species, soils, root-zones, delivery, ...), an entry such as
    kentucky_bluegrass, a number as [overrides] writes it, such as
    species.kentucky_bluegrass.wilt_ks, a quantity such as peak_wilt, or 'plans' for the rules a
    plan can follow. Without NAME it lists the kinds.
    """
    from drysward.catalog import load_catalog
    from drysward.faults import Fault, FaultyInput, nearest
    from drysward.screen.catalog import (
        catalog_entry,
        catalog_kind,
        catalog_kinds,
        catalog_plans,
        catalog_term,
    )
    from drysward.screen.formats import show

    catalog = load_catalog()
    # Files write names with underscores; people type hyphens and blanks.
    key = name.strip().lower().replace("-", "_").replace(" ", "_")
    entries = [known[key] for known in catalog.entries.values() if key in known]
    terms = {**catalog.derived, **catalog.meanings, **catalog.quantities}
    if not key:
        parts = catalog_kinds(catalog)
    elif key == "plans":
        parts = catalog_plans()
    elif kind := next((k for k in (key, f"{key}s", f"{key}ies") if k in catalog.entries), ""):
        parts = catalog_kind(catalog, kind)
    elif 2 <= len(dotted := key.removeprefix("overrides.").split(".")) <= 3:
        entry = catalog.get(dotted[0], dotted[1], where="catalog")
        only = dotted[2:]
        parts = catalog_entry(catalog, entry, {one: entry.parameter(one) for one in only} or None)
        parts += [part for one in only for part in catalog_term(catalog.meanings[one])]
    elif entries or key in terms:
        parts = [part for entry in entries for part in catalog_entry(catalog, entry)]
        parts += catalog_term(terms[key]) if key in terms else []
    else:
        known = {entry for kind in catalog.entries.values() for entry in kind}
        hint = nearest(key, {*catalog.entries, *known, *terms, "plans"})
        # A list of every name is too long for one line.
        hint = hint if hint.startswith("did") else "'drysward catalog' lists the kinds"
        raise FaultyInput(Fault("catalog", f"nothing is called '{name}'", hint))
    show(parts, form)
