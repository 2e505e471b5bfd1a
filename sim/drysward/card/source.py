"""The source of the kernels: what is left of the day loop, and of a field's days, for one thread.

What a kernel reads every day has the runs, or fields, as its last axis, so that neighboring threads
read neighboring words. How fast a card is depends on how much of a run lies close by, more than on
its arithmetic:

- Registers hold what the patches of a day need.
- ``near`` is memory beside the processors of the card, for other numbers of a run.
- Patches lie in tiles of ``TILE`` runs: (tile, patch, row, run). How far two numbers of a patch are
  apart is then known beforehand, and needs no address of its own.
"""

from __future__ import annotations

import ast
import inspect
import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np

from drysward.card.unfold import (
    Block,
    Filled,
    Known,
    Patches,
    Struct,
    Table,
    Unfolding,
    Unread,
    exposed,
    loads,
    stored,
    without_idle,
)
from drysward.compiled import parsed, tree_of
from drysward.day.lanes import PATCH_PLACE, PLACE, SECTIONS
from drysward.day.loop import FORMS_THAT_LIE, run_site
from drysward.day.records import (
    CALENDAR,
    CALENDAR_DAYS,
    CAUSES,
    DAY,
    FEED_DAY,
    FEED_YEAR,
    FIELD,
    MONTHS,
    PLAN,
    PLAY_DAY,
    PLAY_YEAR,
    STAGES,
    WEEK,
    YEAR,
)
from drysward.site.forcing import MEMORY, TURF, field_pass
from drysward.site.site_weather import WEATHER

WHOLE_OF_CALENDAR = tuple(name for name in CALENDAR.names or () if CALENDAR[name].kind == "i")
# Numbers that a run carries from one stretch to the next.
STATE = frozenset(SECTIONS["state"])
TILE = 32  # runs whose patches lie together: threads of a warp
# Numbers of a run near the processors: with 8 bytes each, 256 runs fit there at a time on an H200.
MOST_NEAR = 110
_CUT_BY_PLAN = ("restriction", "ground", "window")


def _never(played: bool, fed: bool) -> dict[str, float]:
    """Numbers of a run that nothing changes without a shared supply, play, or feeding."""
    numbers = {f"cut_{name}": 0.0 for name in CAUSES if name not in _CUT_BY_PLAN}
    numbers["delivered_share"] = 1.0
    if not played:
        numbers["play_on"] = 0.0
    if not fed:
        numbers["feed_on"] = 0.0
    if not (played or fed):
        numbers["syringed"] = 0.0
    return numbers


@dataclass(frozen=True)
class Source:
    """The text of a kernel ``name`` and of the functions that it calls.

    ``arguments`` in their order; with ``n_near`` numbers the kernel also takes ``near`` (n_near,
    lanes) and its lane there. ``numbers`` and ``of_patch`` are the names of the rows of
    ``all_blocks`` and of a tile.
    """

    name: str
    text: str
    arguments: tuple[str, ...]
    numbers: tuple[str, ...] = ()
    of_patch: tuple[str, ...] = ()
    n_near: int = 0


def places_in(record: np.dtype) -> dict[str, tuple[int, tuple[int, ...]]]:
    """Where each name of a record of 8-byte values lies in it, and its shape."""
    fields = record.fields
    assert fields is not None
    return {name: (offset // 8, kind.shape) for name, (kind, offset, *_) in fields.items()}


def _table(name: str, order: tuple[int | str, ...], n: int, *shape: Any, **more: Any) -> Table:
    return Table(
        name, order, n, tuple(Known(s) if isinstance(s, int) else s for s in shape), **more
    )


def _number(name: str) -> ast.Name:
    return ast.Name(name, ast.Load())


def _calendar() -> Table:
    return _table(
        "all_calendar", (0, 1), 2, _number("n_days"),
        columns={name: (i, ()) for i, name in enumerate(WHOLE_OF_CALENDAR)},
        elsewhere={"rooting_score": _table("all_rooting_scores", (0,), 1)},
    )  # fmt: skip


@cache
def run_source(played: bool, fed: bool, counts_days: bool) -> Source:
    """The kernel that takes runs through days, with play and feeding where a field has them, and
    with the days of the year on which stages are reached where it ``counts_days``.

    There is none for a shared supply, and none that writes a daily account.
    """
    one = Known(1)
    day_input = Struct({
        "days": _table("all_days", (0, 2, 1), 3, None, None, len(DAY.names or ())),
        "play_days": _table("play_days", (0, 2, 1), 3, None, None, len(PLAY_DAY.names or ())),
        "feed_days": _table("feed_days", (0, 2, 1), 3, None, None, len(FEED_DAY.names or ())),
        "calendar": _calendar(),
        "rain_before": _table("rain_before", (0,), 1),
        "drought_index": _table("drought_index", (0,), 1),
        "spray_loss": _table("spray_loss", (0, 1), 2),
    })  # fmt: skip
    batch = Struct({
        "blocks": (Block(),),
        "patches": (Patches(_number("n_patches")),),
        "catches": _table("catches", (1, "thread"), 3),
        "weekly": _table("weekly", (1, 2, "thread"), 4, 1, WEEK, 3, 1),
        "monthly": _table("monthly", (1, 2, "thread"), 4, 1, MONTHS, 2, 1),
        "booked": _table("booked", (1, 2, "thread"), 4, 1, MONTHS, len(CAUSES), 1),
        "quads": (one,),
        "run_quads": (one,),
        "run_of": Filled(0),
        "field_of": Filled(0),
        "columns": _table("columns", ("thread",), 2),
        "spans": Known(np.zeros((1, 1, 3), np.int64)),
        "rain_skip_days": _table("rain_skip_days", ("thread",), 2),
        "plans": _table("plans", (2, "thread"), 3, 1, 1, columns=places_in(PLAN)),
        "delivery": Known(None),
        "is_restricted": _table("is_restricted", ("thread",), 2),
        "is_any_restricted": _table("is_restricted", ("thread",), 1),
        "is_played": (Known(played),),
        "is_fed": (Known(fed),),
        "fed_months": _table("fed_months", (1, 2, "thread"), 4, 1, MONTHS, 3, 1),
        "lies": _table("lies", (1, "thread"), 2, 1, FORMS_THAT_LIE),
        "side": one,
    })  # fmt: skip
    supply = Struct({
        "site": Filled(0.0), "sources": Filled(0.0), "stages": Known(np.zeros((1, 0))),
        "enter": Filled(0.0), "leave": Filled(0.0), "exempt": Filled(0.0),
    })  # fmt: skip
    supply_states = Struct({"storage": Filled(0.0)})
    tally = Struct({
        "years": _table("years", ("thread", 2, 3), 4, 1, 1, None, YEAR.itemsize // 8),
        "played": _table("played", ("thread", 2, 3), 4, 1, 1, None, len(PLAY_YEAR.names or ())),
        "fed": _table("fed", ("thread", 2, 3), 4, 1, 1, None, FEED_YEAR.itemsize // 8),
        "by_day": _table("by_day", (2, 1, "thread"), 4, 1, CALENDAR_DAYS, len(STAGES) + 1, 1)
        if counts_days
        else Unread(0.0),
        "shortage": _table("shortage", (2, 3, "thread"), 4, 1, 1, MONTHS, len(CAUSES)),
        "trace": Known(None),
    })  # fmt: skip
    scratch = Known(None)
    return _source(
        "run_days",
        run_site,
        (
            day_input, *map(_number, ("from_day", "stop_day", "first_line")), Known(0), Known(1),
            batch, supply, Filled(0), supply_states, tally, scratch, _table("reached", (0,), 1),
            _table("condition", (0,), 1), Filled(-1),
            Known(True if played or fed else None), Known(True if fed else None),
        ),
        (
            "from_day", "stop_day", "first_line", "n_days", "n_patches", "all_blocks",
            "all_patches", "catches", "weekly", "monthly", "booked", "columns", "rain_skip_days",
            "plans", "is_restricted", "all_days", "all_calendar", "rain_before", "drought_index",
            "spray_loss", "reached", "condition", "years", "shortage",
            *(("by_day",) if counts_days else ()),
            *(("play_days", "played") if played else ()),
            *(("feed_days", "fed", "fed_months", "lies") if fed else ()),
        ),
        _never(played, fed),
    )  # fmt: skip


@cache
def forcing_source(covered: bool = False) -> Source:
    """The kernel that works out the days of fields, one a thread; of those that are ``covered``
    from rain on some days too.
    """
    thread = _number("thread")
    whole = frozenset(n for n in TURF.names or () if TURF[n].base.kind == "i")
    curves = Struct({
        name: Table("all_curves", (0, 1, "thread"), 2, (None, _number("nodes")),
                    at=(ast.Constant(i),))
        for i, name in enumerate(("node_mm", "field_capacity", "wilting_point", "saturation"))
    })  # fmt: skip
    return _source(
        "force_days",
        field_pass,
        (
            _table("turfs", (1, "thread"), 2, 2, columns=places_in(TURF), whole=whole),
            curves,
            _table("weather", (0, 1), 2, columns=places_in(WEATHER)),
            _calendar(),
            _table("kept_off", (0, "thread"), 1) if covered else Filled(0.0),
            _table("fields", (1, "thread"), 2, 2, columns=places_in(FIELD)),
            _table("all_days", (0, 2, "thread"), 3, columns=places_in(DAY)),
            thread,
            _table("memories", (1, "thread"), 2, 2, columns=places_in(MEMORY),
                   whole=frozenset({"node"})),
            *map(_number, ("from_day", "stop_day")),
        ),
        (
            "from_day", "stop_day", "n_days", "turfs", "all_curves", "n_nodes", "weather",
            "all_calendar", "all_rooting_scores", "fields", "memories", "all_days",
            *(("kept_off",) if covered else ()),
        ),
        {},
        before="nodes = n_nodes[thread]",
        once="turfs",
    )  # fmt: skip


def _source(
    name: str,
    function: Callable[..., Any],
    values: Sequence[Any],
    arguments: tuple[str, ...],
    never: dict[str, float],
    before: str = "",
    once: str = "",
) -> Source:
    unfolding = Unfolding(never)
    unfolding.call(function, values)
    body = _read_once(once, without_idle(unfolding.out, set(STATE)))
    carried = exposed(body, set()) & PLACE.keys()
    changed = (carried | STATE) & stored(body)
    rows = sorted(carried | changed)
    # What no day reads and not every day sets is read too: a stretch must not lose what it has. Not
    # the others: with a few numbers more the compiler moves dozens out of the registers.
    set_daily: set[str] = set()
    exposed(_day_loop(body).body, set_daily)
    read = carried | (changed - set_daily)
    of_patch = sorted(n.removeprefix("row_of_") for n in loads(body) if n.startswith("row_of_"))
    assert set(of_patch) <= PATCH_PLACE.keys()
    near = _numbers_near(body, rows, changed) if of_patch else []
    places = {f"row_of_{n}": TILE * i for i, n in enumerate(of_patch)}
    steps = [before] if before else []
    if of_patch:
        places["tile_step"] = TILE * len(of_patch)
        steps.append(f"tile = thread // {TILE} * (n_patches * tile_step) + thread % {TILE}")
    steps += [f"{n} = all_blocks[{i}, thread]" for i, n in enumerate(rows) if n in read]
    steps += [ast.unparse(ast.fix_missing_locations(one)) for one in body]
    steps += [f"all_blocks[{i}, thread] = {n}" for i, n in enumerate(rows) if n in changed]
    text = _placed("\n".join(steps), places, near)
    functions = _functions(unfolding)
    with_near = ", near, lane" if near else ""
    head = f"@kernel\ndef {name}(thread, {', '.join(arguments)}{with_near}):\n"
    return Source(
        name,
        f"{functions}\n\n\n{head}{textwrap.indent(text, '    ')}\n",
        arguments,
        tuple(rows),
        tuple(of_patch),
        len(near),
    )


def _read_once(table: str, body: list[ast.stmt]) -> list[ast.stmt]:
    """The body, which reads a thread's numbers in ``table`` before all else: the compiler can then
    work out what comes of them alone once, and not every day.
    """
    if not table:
        return body
    found: dict[int, ast.expr] = {}

    class Read(ast.NodeTransformer):
        def visit_Subscript(self, node: ast.Subscript) -> ast.expr:
            self.generic_visit(node)
            match node:
                case ast.Subscript(ast.Name(name), ast.Tuple([ast.Constant(int(row)), _])):
                    if name == table:
                        found[row] = node
                        return _number(f"{table}_{row}")
            return node

    body = [Read().visit(one) for one in body]
    first = [ast.Assign([ast.Name(f"{table}_{row}", ast.Store())], found[row]) for row in found]
    return [*first, *body]


def _numbers_near(
    body: Sequence[ast.stmt], rows: Sequence[str], changed: set[str]
) -> list[str]:
    """Numbers of a run that the patches of a day do not need, those first that change."""
    days = _day_loop(body)
    loops = (one for one in days.body if isinstance(one, ast.For))
    of_patches = [one for one in loops if "row_of_w1" in loads([one])]  # every patch has water
    assert of_patches, "no loop over the patches of a day"
    needed = loads(of_patches)
    apart = [name for name in rows if name not in needed]
    return sorted(apart, key=lambda name: name not in changed)[:MOST_NEAR]


def _day_loop(body: Sequence[ast.stmt]) -> ast.For:
    return next(one for one in body if isinstance(one, ast.For))


def _placed(text: str, places: dict[str, int], near: Sequence[str]) -> str:
    """The text with places filled in, and with numbers that are ``near`` read there."""
    tree = _Placed(places, near).visit(ast.Module(parsed(text), []))
    if near:
        # A compiler that may keep these numbers in registers from day to day has too many there.
        _day_loop(tree.body).body.insert(0, ast.Expr(ast.Call(_number("new_day"), [], [])))
    return ast.unparse(ast.fix_missing_locations(tree))


class _Placed(ast.NodeTransformer):
    def __init__(self, places: dict[str, int], near: Sequence[str]) -> None:
        self.places = places
        self.near = {name: i for i, name in enumerate(near)}

    def visit_Name(self, node: ast.Name) -> ast.expr:
        if node.id in self.places:
            return ast.Constant(self.places[node.id])
        if node.id in self.near:
            index = ast.Tuple([ast.Constant(self.near[node.id]), _number("lane")], ast.Load())
            return ast.Subscript(_number("near"), index, node.ctx)
        return node


class _Plain(ast.NodeTransformer):
    """A function's tree with its global names replaced by numbers, or noted as functions."""

    def __init__(self, function: Callable[..., Any], unfolding: Unfolding) -> None:
        closed = inspect.getclosurevars(function)
        self.known = {**closed.globals, **closed.nonlocals}
        self.unfolding = unfolding

    def visit_Attribute(self, node: ast.Attribute) -> ast.expr:
        assert isinstance(node.value, ast.Name)
        return self._replaced(getattr(self.known[node.value.id], node.attr))

    def visit_Name(self, node: ast.Name) -> ast.expr:
        if isinstance(node.ctx, ast.Load) and node.id in self.known:
            return self._replaced(self.known[node.id])
        return node

    def _replaced(self, value: Any) -> ast.expr:
        if callable(value):
            return _number(self.unfolding.uses(value))
        assert isinstance(value, int | float)
        return ast.Constant(value)


def _functions(unfolding: Unfolding) -> str:
    """The source of all functions that a kernel calls, and of those that these call."""
    done: dict[str, str] = {}
    while waiting := unfolding.functions.keys() - done.keys():
        for name in sorted(waiting):
            function = unfolding.functions[name]
            if function.__module__ == "math":
                done[name] = ""
                continue
            tree = tree_of(function)
            tree.name, tree.decorator_list, tree.returns = name, [_number("function")], None
            for argument in tree.args.args:
                argument.annotation = None
            tree.body = [
                _Plain(function, unfolding).visit(one)
                for one in tree.body
                if not (isinstance(one, ast.Expr) and isinstance(one.value, ast.Constant))
            ]
            done[name] = ast.unparse(ast.fix_missing_locations(tree))
    # Those that call no others come first.
    out: list[str] = []
    placed: set[str] = set()
    while len(placed) < len(done):
        for name, text in done.items():
            if name not in placed:
                calls = loads(parsed(text)) & done.keys() - {name}
                if calls <= placed:
                    placed.add(name)
                    if text:
                        out.append(text)
    of_math = sorted(n.removeprefix("call_") for n, text in done.items() if not text)
    first = ["\n".join(f"from math import {n} as call_{n}" for n in of_math)] if of_math else []
    return "\n\n\n".join([*first, *out])
