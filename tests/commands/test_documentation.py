"""README and documentation: what is shown can be typed, is read as it says, and prints the same.

Blocks marked slow run in ``.ci/run`` (``python sim/docs/blocks.py --check``); here their commands
are only parsed.
"""

from __future__ import annotations

import importlib.util
import re
import shlex
import sys
from pathlib import Path
from types import ModuleType

import click
import pytest

from drysward.catalog import load_catalog
from drysward.cli import main
from drysward.scenario.keys import keys

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"


def _of_docs(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, ROOT / "sim" / "docs" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


blocks = _of_docs("blocks")
PAGES = [pytest.param(page, id=str(page.relative_to(ROOT))) for page in blocks.PAGES]


def test_pages_are_written_of_every_kind_of_number_and_every_key(tmp_path: Path) -> None:
    _of_docs("generated").write_pages(tmp_path)
    catalog = (tmp_path / "catalog.md").read_text(encoding="utf-8")
    assert all(f"`{kind}." in catalog for kind in load_catalog().entries)
    written = (tmp_path / "scenario_keys.md").read_text(encoding="utf-8")
    assert all(f"`{key.name}`" in written for key in keys())


def test_readme_and_developers_are_short() -> None:
    assert len(README.read_text(encoding="utf-8").splitlines()) <= 250
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert len(developers.splitlines()) <= 300


@pytest.mark.slow
@pytest.mark.parametrize("page", PAGES)
def test_blocks_run_and_print_what_is_shown(page: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", blocks.WIDTH)
    assert blocks.run_page(page, fast=True) == page.read_text(encoding="utf-8")


def _typed(text: str) -> list[str]:
    """Commands of a page: those of sh blocks, and those between backticks in its prose."""
    shown = [
        line
        for block in blocks.blocks_of(text)
        if block.language == "sh" and block.mark != "not run"
        for line in blocks.command_lines(block.code)
    ]
    prose = re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)
    return shown + re.findall(r"`((?:\.venv/bin/)?drysward [a-z][^`]*)`", prose)


@pytest.mark.parametrize("page", PAGES)
def test_commands_that_are_shown_can_be_typed(page: Path) -> None:
    for line in _typed(page.read_text(encoding="utf-8")):
        for part in re.split(r"&&|\||>", line):
            words = [word.strip("[]") for word in shlex.split(part)]
            if words and Path(words[0]).name == "drysward":
                try:
                    _parse(main, words[1:])
                except click.ClickException as refusal:
                    pytest.fail(f"{line}: {refusal.format_message()}")


def _parse(group: click.Command, words: list[str]) -> None:
    """Parse words as ``group`` would, and run nothing. Arguments may be left out, as in prose."""
    context = click.Context(group, info_name="drysward")
    if isinstance(group, click.Group):
        rest = list(words)
        group.make_parser(context)
        name, command, left = group.resolve_command(context, rest)
        assert command is not None, name
        _parse(command, left)
        return
    known = {flag for option in group.params for flag in option.opts}
    for word in words:
        if word.startswith("--") and word.partition("=")[0] not in {*known, "--help"}:
            raise click.NoSuchOption(word, ctx=context)


def test_links_lead_to_files() -> None:
    for page in (README, ROOT / "DEVELOPERS.md"):
        for target in re.findall(r"\]\(([^)#]+)", page.read_text(encoding="utf-8")):
            assert (ROOT / target).exists(), f"{page.name}: {target}"


def test_a_block_that_fails_is_named(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text("```sh\ndrysward comparr\n```\n", encoding="utf-8")
    with pytest.raises(blocks.BrokenBlock, match=r"page\.md line 1.*comparr"):
        blocks.run_page(page)


def test_outputs_are_filled_in(tmp_path: Path) -> None:
    page = tmp_path / "page.md"
    page.write_text(
        "```python\nprint(1)\nprint(2)\n```\n\n<!-- output -->\n```text\n```\n\n"
        "<!-- output: drysward show, lines 1 to 1 -->\n```text\nold\n```\n",
        encoding="utf-8",
    )
    filled = blocks.run_page(page)
    assert "```text\n1\n2\n```" in filled
    assert "```text\ndemo        Tarrow Mills: stadium and practice field\n```" in filled
    assert "old" not in filled


def test_developers_page_names_files_that_are_there() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = re.findall(r"`((?:[\w.-]+/)+[\w.-]+\.(?:py|toml|md|txt))", text)
    assert len(named) > 50
    homes = (ROOT, ROOT / "sim" / "drysward")
    gone = [path for path in named if not any((home / path).exists() for home in homes)]
    assert gone == []
