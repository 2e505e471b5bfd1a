"""The source of a kernel for one run, unfolded from the code that steps lanes.

The day loop is written for blocks of lanes: ``block[PLACE[NAME] + lane]``. A thread of a card has
one run, and no array at all: its numbers should lie in registers. ``Unfolding`` walks through the
syntax tree of a function, goes into every function that reads or writes lanes, works out all that
is known beforehand (places, tables of names, flags), and writes down what is left. There every
number of a lane is a plain local name. Loops over lanes are gone, and so is the code of what these
runs do not have. Equations stay calls of the functions that they are.

The result is plain Python that numba compiles for a card or for the processor.
"""

from __future__ import annotations

import ast
import builtins
import inspect
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from drysward.compiled import parsed, tree_of
from drysward.day.lanes import LANES, PATCH_PLACE, PLACE, parts_of

THREAD = ast.Name("thread", ast.Load())
_NAME_AT = {place: name for name, place in PLACE.items()}
_PATCH_NAME_AT = {place: name for name, place in PATCH_PLACE.items()}
_FOLDED = (range, len, float, int, min, max, abs, bool)


class NotKnown(Exception):
    """A place depends on what is known only when the kernel runs."""


@dataclass(frozen=True)
class Known:
    """A value that is the same for all runs and days."""

    value: Any


@dataclass(frozen=True)
class Filled:
    """An array or record that holds one value everywhere."""

    value: Any


@dataclass(frozen=True)
class Unread(Filled):
    """An array that the code for lanes adds to, and that nobody reads here."""


@dataclass(frozen=True)
class Block:
    """The numbers of the run, from a place on."""

    start: int = 0


@dataclass(frozen=True)
class Patches:
    """The numbers of all patches of the run; ``count`` is how many there are."""

    count: ast.expr


@dataclass(frozen=True)
class Patch:
    """The numbers of one patch."""


@dataclass(frozen=True)
class Struct:
    """A named tuple of such values."""

    parts: dict[str, Any]


@dataclass(frozen=True)
class Table:
    """An array of the kernel, indexed as the code for lanes does it.

    ``order`` says which of those indices, by number, go into the kernel's array, in its order;
    ``thread`` stands for the run. ``shape`` is as far as it is known. Of a record, ``columns`` has
    the place and shape of every name, which is then the last index, and ``whole`` the names that
    are whole numbers; ``elsewhere`` are names that lie in another table with the same indices.
    """

    name: str
    order: tuple[int | str, ...]
    n_axes: int
    shape: tuple[Any, ...] = ()
    columns: dict[str, tuple[int, tuple[int, ...]]] = field(default_factory=dict)
    whole: frozenset[str] = frozenset()
    elsewhere: dict[str, Table] = field(default_factory=dict)
    at: tuple[ast.expr, ...] = ()
    first: int = 0
    inner: tuple[int, ...] = ()
    is_whole: bool = False

    def attribute(self, name: str) -> Table:
        if name in self.elsewhere:
            return replace(self.elsewhere[name], at=self.at)
        first, inner = self.columns[name]
        found = replace(self, columns={}, is_whole=name in self.whole)
        if inner:
            return replace(found, first=first, inner=inner)
        return replace(found, at=(*self.at, ast.Constant(first)))

    def element(self) -> ast.Subscript:
        """What stands at the indices, which must be complete."""
        assert len(self.at) == self.n_axes, f"{self.name} has not all of its indices"
        chosen = [THREAD if i == "thread" else self.at[int(i)] for i in self.order]
        index = chosen[0] if len(chosen) == 1 else ast.Tuple(chosen, ast.Load())
        return ast.Subscript(ast.Name(self.name, ast.Load()), index, ast.Load())


Value = Any  # one of the above, a tuple of values, or an expression of the kernel


@dataclass
class _Scope:
    """The names of a function that is being unfolded."""

    known: Callable[[str], Any]
    mark: str
    values: dict[str, Value] = field(default_factory=dict)
    often: set[str] = field(default_factory=set)  # names that are given values more than once
    in_lanes: bool = False
    returns: int = 1
    result: Value = None


class Unfolding:
    """What is left of functions that are unfolded one after the other.

    ``numbers`` are those of a lane that never change, ``functions`` those that the result calls,
    ``out`` its statements so far.
    """

    def __init__(self, numbers: Mapping[str, float]) -> None:
        self.numbers = numbers
        self.out: list[ast.stmt] = []
        self.functions: dict[str, Callable[..., Any]] = {}
        self.count = 0
        self.patch_loops: set[str] = set()

    # --- functions ---------------------------------------------------------------------------

    def call(self, function: Callable[..., Any], arguments: Sequence[Value]) -> Value:
        """Unfold a function here; what it returns."""
        parts = parts_of(function)
        if parts:
            self._in_lanes(parts, arguments)
            return Known(None)
        tree = tree_of(function)
        scope = self._scope(function, tree.body)
        scope.returns = sum(isinstance(node, ast.Return) for node in ast.walk(tree))
        for argument, value in zip(tree.args.args, arguments, strict=True):
            value = self._kept(value)
            if argument.arg in scope.often:
                self._assign(ast.Name(argument.arg), value, scope)
            else:
                scope.values[argument.arg] = value
        self._run(tree.body, scope)
        return Known(None) if scope.result is None else scope.result

    def _scope(self, function: Callable[..., Any], body: Sequence[ast.stmt]) -> _Scope:
        closed = inspect.getclosurevars(function).nonlocals
        names = {**vars(builtins), **function.__globals__, **closed}
        self.count += 1
        scope = _Scope(names.__getitem__, f"__{self.count}")
        seen: set[str] = set(inspect.signature(function).parameters)
        for node in (node for part in body for node in ast.walk(part)):
            if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
                (scope.often if node.id in seen else seen).add(node.id)
        return scope

    def _in_lanes(self, parts: Sequence[Callable[..., Any]], arguments: Sequence[Value]) -> None:
        """The parts of a day for one run: names with a place are the run's numbers themselves."""
        shared = [value for value in arguments if not isinstance(value, Block | Patch)][1:]
        shared = [self._kept(value) for value in shared]
        self.count += 1
        mark = f"__{self.count}"
        values: dict[str, Value] = {}
        there = {*PLACE, *PATCH_PLACE}
        for part in parts:
            *body, last = tree_of(part).body
            scope = self._scope(part, body)
            scope.mark, scope.in_lanes, scope.values = mark, True, values
            for name in inspect.signature(part).parameters:
                if name not in there:
                    there.add(name)
                    values[name] = shared.pop(0)
            assert isinstance(last, ast.Return)
            assert last.value is not None
            there |= _read(last.value)
            self._run(body, scope)
        assert not shared, "a part of the day does not take all that it is given"

    # --- statements --------------------------------------------------------------------------

    def _nested(self, statements: Sequence[ast.stmt], scope: _Scope) -> list[ast.stmt]:
        """What is left of statements that the kernel may pass over."""
        before, self.out = self.out, []
        try:
            self._run(statements, scope)
            return self.out
        finally:
            self.out = before

    def _run(self, statements: Sequence[ast.stmt], scope: _Scope) -> bool:
        """Unfold statements; whether they end by leaving the function or the loop."""
        for i, one in enumerate(statements):
            if isinstance(one, ast.Return):
                self._return(one, scope)
                return True
            if isinstance(one, ast.Continue):
                return True
            if isinstance(one, ast.If):
                test = self.value(one.test, scope)
                if isinstance(test, Known):
                    if self._run(one.body if test.value else one.orelse, scope):
                        return True
                    continue
                then = self._nested(one.body, scope)
                if isinstance(one.body[-1], ast.Return | ast.Continue):
                    assert not one.orelse
                    otherwise = self._nested(statements[i + 1 :], scope)
                    self._if(test, then, otherwise)
                    return True
                self._if(test, then, self._nested(one.orelse, scope))
            elif isinstance(one, ast.For):
                self._loop(one, scope)
            elif isinstance(one, ast.While):
                so_far = len(self.out)
                test = self._code(self.value(one.test, scope))
                assert len(self.out) == so_far, "the test of a loop needs statements"
                self.out.append(ast.While(test, self._nested(one.body, scope), []))
            elif isinstance(one, ast.Assign):
                value = self.value(one.value, scope)
                for target in one.targets:
                    self._assign(target, value, scope)
            elif isinstance(one, ast.AugAssign):
                loaded = parsed(ast.unparse(one.target))[0]
                assert isinstance(loaded, ast.Expr)
                self._assign(
                    one.target, self.value(ast.BinOp(loaded.value, one.op, one.value), scope), scope
                )
            elif isinstance(one, ast.Expr):
                if not isinstance(one.value, ast.Constant):
                    self.value(one.value, scope)
            else:
                raise NotImplementedError(ast.unparse(one))
        return False

    def _if(self, test: ast.expr, then: list[ast.stmt], otherwise: list[ast.stmt]) -> None:
        if then or otherwise:
            self.out.append(ast.If(test, then or [ast.Pass()], otherwise))

    def _return(self, one: ast.Return, scope: _Scope) -> None:
        if one.value is None:
            return
        value = self.value(one.value, scope)
        if scope.returns == 1:
            scope.result = value
        else:
            scope.result = name = ast.Name(f"returned{scope.mark}", ast.Load())
            self._emit(name, self._code(value))

    def _loop(self, one: ast.For, scope: _Scope) -> None:
        assert isinstance(one.target, ast.Name)
        assert isinstance(one.iter, ast.Call)
        name = one.target.id
        bounds = [self.value(bound, scope) for bound in one.iter.args]
        if all(isinstance(bound, Known) for bound in bounds):
            values: Sequence[int] = range(*(int(bound.value) for bound in bounds))
            # A thread has one lane.
            values = values[:1] if name == "lane" else values
            if len(values) > 1 and not self._kept_loop(one, bounds, scope, maybe=True):
                for value in values:
                    scope.values[name] = Known(value)
                    self._run(one.body, scope)
            elif len(values) == 1:
                scope.values[name] = Known(values[0])
                self._run(one.body, scope)
        elif name == "lane":
            scope.values[name] = Known(0)
            self._run(one.body, scope)
        else:
            self._kept_loop(one, bounds, scope)

    def _kept_loop(
        self, one: ast.For, bounds: list[Value], scope: _Scope, maybe: bool = False
    ) -> bool:
        """A loop that the kernel runs; whether it may be one, for one that ``maybe`` is none."""
        assert isinstance(one.target, ast.Name)
        self.count += 1
        variable = f"{one.target.id}__{self.count}"
        scope.values[one.target.id] = ast.Name(variable, ast.Load())
        try:
            body = self._nested(one.body, scope)
        except NotKnown:
            if not maybe:
                raise
            return False
        if variable in self.patch_loops:
            body = _with_patch(body, variable)
        if body:
            steps = ast.Call(ast.Name("range", ast.Load()), [*map(self._code, bounds)], [])
            self.out.append(ast.For(ast.Name(variable, ast.Store()), steps, body, []))
        return True

    def _assign(self, target: ast.expr, value: Value, scope: _Scope) -> None:
        if isinstance(target, ast.Tuple):
            values = value.value if isinstance(value, Known) else value
            if isinstance(values, ast.expr):
                whole = self._kept(values)
                values = tuple(
                    ast.Subscript(whole, ast.Constant(i), ast.Load())
                    for i in range(len(target.elts))
                )
            assert isinstance(values, tuple)
            values = [v if _is_value(v) else Known(v) for v in values]
            if any(isinstance(v, ast.expr) for v in values):
                values = [self._kept(v) for v in values]
            for one, part in zip(target.elts, values, strict=True):
                self._assign(one, part, scope)
        elif isinstance(target, ast.Name):
            placed = scope.in_lanes and (target.id in PLACE or target.id in PATCH_PLACE)
            if placed:
                assert target.id not in self.numbers, f"{target.id} changes"
                self._emit(ast.Name(target.id), self._code(value))
            elif target.id in scope.often and not _is_large(value):
                name = ast.Name(target.id + scope.mark, ast.Load())
                self._emit(name, self._code(value))
                scope.values[target.id] = name
            elif isinstance(value, ast.expr):
                name = ast.Name(target.id + scope.mark, ast.Load())
                self._emit(name, value)
                scope.values[target.id] = name
            else:
                scope.values[target.id] = value
        elif isinstance(target, ast.Subscript) and ast.unparse(target.slice) == ":":
            whole = self.value(target.value, scope)
            for i in range(whole.shape[len(whole.at)].value):
                self._emit(self._item(whole, [Known(i)]), self._code(value))
        elif isinstance(target, ast.Subscript):
            place = self._item(self.value(target.value, scope), self._index(target, scope))
            if isinstance(place, Known):
                assert isinstance(value, Known)
                assert value.value == place.value, f"{ast.unparse(target)} changes"
            elif place is not None and not isinstance(place, Unread):
                self._emit(place, self._code(value))
        elif isinstance(target, ast.Attribute):
            place = self.value(target.value, scope).attribute(target.attr)
            self._emit(place.element(), self._code(value))
        else:
            raise NotImplementedError(ast.unparse(target))

    def _kept(self, value: Value) -> Value:
        """A value that later statements do not change."""
        if not isinstance(value, ast.expr) or isinstance(value, ast.Constant):
            return value
        if isinstance(value, ast.Name) and value.id.startswith("kept__"):
            return value
        self.count += 1
        name = ast.Name(f"kept__{self.count}", ast.Load())
        self._emit(name, value)
        return name

    def _emit(self, target: Any, value: ast.expr) -> None:
        if isinstance(target, ast.Name):
            target = ast.Name(target.id, ast.Store())
        else:
            target = ast.Subscript(target.value, target.slice, ast.Store())
        self.out.append(ast.Assign([target], value))

    # --- expressions -------------------------------------------------------------------------

    def value(self, node: ast.expr, scope: _Scope) -> Value:
        """What an expression is, as far as it is known."""
        if isinstance(node, ast.Constant):
            return Known(node.value)
        if isinstance(node, ast.Name):
            return self._named(node.id, scope)
        if isinstance(node, ast.Tuple):
            parts = tuple(self.value(part, scope) for part in node.elts)
            if all(isinstance(part, Known) for part in parts):
                return Known(tuple(part.value for part in parts))
            return parts
        if isinstance(node, ast.Attribute):
            return self._attribute(self.value(node.value, scope), node.attr)
        if isinstance(node, ast.Subscript):
            return self._item(self.value(node.value, scope), self._index(node, scope))
        if isinstance(node, ast.BoolOp):
            return self._both(node, scope)
        if isinstance(node, ast.IfExp):
            test = self.value(node.test, scope)
            if isinstance(test, Known):
                return self.value(node.body if test.value else node.orelse, scope)
            one, other = (self._code(self.value(n, scope)) for n in (node.body, node.orelse))
            return ast.IfExp(self._code(test), one, other)
        if isinstance(node, ast.Call):
            return self._called(node, scope)
        if isinstance(node, ast.BinOp):
            parts = (self.value(node.left, scope), self.value(node.right, scope))
            return self._folded(
                parts, lambda: ast.BinOp(self._code(parts[0]), node.op, self._code(parts[1]))
            )
        if isinstance(node, ast.UnaryOp):
            part = self.value(node.operand, scope)
            return self._folded((part,), lambda: ast.UnaryOp(node.op, self._code(part)))
        if isinstance(node, ast.Compare):
            parts = tuple(self.value(n, scope) for n in (node.left, *node.comparators))
            return self._folded(
                parts,
                lambda: ast.Compare(self._code(parts[0]), node.ops, [*map(self._code, parts[1:])]),
            )
        raise NotImplementedError(ast.unparse(node))

    def _named(self, name: str, scope: _Scope) -> Value:
        if scope.in_lanes and (name in PLACE or name in PATCH_PLACE):
            return self._lane_number(name)
        if name in scope.values:
            return scope.values[name]
        return Known(scope.known(name))

    def _number_at(self, names: dict[int, str], place: int) -> Value:
        """The number at a place; None in a lane that a thread does not have."""
        return None if place % LANES else self._lane_number(names[int(place)])

    def _lane_number(self, name: str) -> Value:
        if name in self.numbers:
            return Known(self.numbers[name])
        return ast.Name(name, ast.Load())

    def _folded(self, parts: Sequence[Value], build: Callable[[], ast.expr]) -> Value:
        """An operation on ``parts``, done at once when all of them are known."""
        plain = [Known(p.value) if isinstance(p, Filled) else p for p in parts]
        if not all(isinstance(part, Known) for part in plain):
            return build()
        names = {f"v{i}": part.value for i, part in enumerate(plain)}
        queue = iter(names)
        tree = build_of(build, parts, queue)
        with np.errstate(all="ignore"):
            return Known(eval(compile(tree, "<known>", "eval"), {}, names))

    def _both(self, node: ast.BoolOp, scope: _Scope) -> Value:
        is_and = isinstance(node.op, ast.And)
        left: list[ast.expr] = []
        for one in node.values:
            value = self.value(one, scope)
            if isinstance(value, Known):
                if bool(value.value) is not is_and:
                    if not left:
                        return value
                    left.append(ast.Constant(not is_and))
                    break
            else:
                left.append(self._code(value))
        if not left:
            return Known(is_and)
        return left[0] if len(left) == 1 else ast.BoolOp(node.op, left)

    def _called(self, node: ast.Call, scope: _Scope) -> Value:
        assert not node.keywords, ast.unparse(node)
        called = self.value(node.func, scope)
        arguments = [self.value(argument, scope) for argument in node.args]
        if not isinstance(called, Known):
            raise NotImplementedError(ast.unparse(node))
        function = called.value
        if any(_is_large(argument) for argument in arguments):
            if function is int:
                return Known(int(arguments[0].value))
            return self.call(function, arguments)
        if all(isinstance(argument, Known) for argument in arguments) and (
            function in _FOLDED or isinstance(function, np.ufunc)
        ):
            return Known(function(*(argument.value for argument in arguments)))
        return self._left_call(function, [*map(self._code, arguments)])

    def _left_call(self, function: Any, arguments: list[ast.expr]) -> ast.expr:
        name = function.__name__ if function in _FOLDED else self.uses(function)
        return ast.Call(ast.Name(name, ast.Load()), arguments, [])

    def uses(self, function: Any) -> str:
        """The name under which the kernel calls a function."""
        if isinstance(function, np.ufunc):
            function = getattr(math, function.__name__)
        # No number of a lane is called so.
        name = f"call_{function.__name__}"
        assert self.functions.setdefault(name, function) is function, f"two functions {name}"
        return name

    def _attribute(self, value: Value, name: str) -> Value:
        if isinstance(value, Filled):
            return value
        if isinstance(value, Struct):
            return value.parts[name]
        if isinstance(value, Known):
            return Known(getattr(value.value, name))
        if name == "shape" and isinstance(value, tuple):
            return (Known(len(value)),)
        if name == "shape":
            if isinstance(value, Patches):
                return (value.count,)
            assert isinstance(value, Table)
            return value.shape[len(value.at) :]
        if name == "size":
            assert isinstance(value, Table)
            return value.shape[len(value.at)]
        assert isinstance(value, Table), f"{name} of {value}"
        return _maybe_element(value.attribute(name))

    def _index(self, node: ast.Subscript, scope: _Scope) -> Any:
        """Indices as values; a slice stays one."""
        if isinstance(node.slice, ast.Slice):
            assert node.slice.lower is not None
            return slice(self.value(node.slice.lower, scope), None)
        parts = node.slice.elts if isinstance(node.slice, ast.Tuple) else [node.slice]
        return [self.value(part, scope) for part in parts]

    def _item(self, value: Value, index: Any) -> Value:
        if isinstance(value, Filled):
            return value
        if isinstance(value, Block):
            if isinstance(index, slice):
                return Block(value.start + _place(index.start))
            return self._number_at(_NAME_AT, value.start + _place(index[0]))
        if isinstance(value, Patches):
            if isinstance(index[0], ast.Name):
                self.patch_loops.add(index[0].id)
            if len(index) == 1:
                return Patch()
            return self._number_at(_PATCH_NAME_AT, _place(index[1]))
        if isinstance(value, Patch):
            return self._number_at(_PATCH_NAME_AT, _place(index[0]))
        if isinstance(value, tuple):
            return value[_place(index[0])]
        if isinstance(value, Known):
            keys = tuple(_place(part) for part in index)
            found = value.value[keys if len(keys) > 1 else keys[0]]
            return Known(found)
        assert isinstance(value, Table), value
        if value.inner:
            assert len(index) == len(value.inner)
            place: Value = Known(value.first)
            for part, stride in zip(index, (*value.inner[1:], 1), strict=True):
                place = self._sum(place, self._times(part, stride))
            return _maybe_element(replace(value, at=(*value.at, self._code(place))))
        for part in index:
            # A place that is read from an array is read once.
            place = self._kept(part) if isinstance(part, ast.Subscript) else self._code(part)
            if isinstance(part, Known) and part.value < 0:
                length = self._code(value.shape[len(value.at)])
                place = ast.BinOp(length, ast.Sub(), ast.Constant(-part.value))
            value = replace(value, at=(*value.at, place))
        return _maybe_element(value)

    def _sum(self, one: Value, other: Value) -> Value:
        return self._folded(
            (one, other), lambda: ast.BinOp(self._code(one), ast.Add(), self._code(other))
        )

    def _times(self, one: Value, by: int) -> Value:
        if by == 1:
            return one
        return self._folded(
            (one, Known(by)), lambda: ast.BinOp(self._code(one), ast.Mult(), ast.Constant(by))
        )

    def _code(self, value: Value) -> ast.expr:
        """A value as an expression of the kernel."""
        if isinstance(value, ast.expr):
            return value
        if isinstance(value, Known | Filled):
            plain = value.value.item() if isinstance(value.value, np.generic) else value.value
            assert isinstance(plain, int | float | str) or plain is None, plain
            return ast.Constant(plain)
        raise NotKnown(f"{value} is no number")


def build_of(build: Callable[[], ast.expr], parts: Sequence[Value], names: Any) -> ast.Expression:
    """The operation on names instead of the values that are known."""
    tree = build()
    assert isinstance(tree, ast.BinOp | ast.UnaryOp | ast.Compare)
    if isinstance(tree, ast.BinOp):
        tree = ast.BinOp(_next(names), tree.op, _next(names))
    elif isinstance(tree, ast.UnaryOp):
        tree = ast.UnaryOp(tree.op, _next(names))
    else:
        left = _next(names)
        tree = ast.Compare(left, tree.ops, [_next(names) for _ in tree.comparators])
    return ast.fix_missing_locations(ast.Expression(tree))


def _next(names: Any) -> ast.Name:
    return ast.Name(next(names), ast.Load())


def _maybe_element(value: Table) -> Value:
    if len(value.at) < value.n_axes:
        return value
    found = value.element()
    return ast.Call(ast.Name("int", ast.Load()), [found], []) if value.is_whole else found


def _place(value: Value) -> Any:
    """An index that must be known."""
    if isinstance(value, Known):
        return value.value
    raise NotKnown("a place is not known")


def _is_value(value: Any) -> bool:
    return isinstance(value, ast.expr | tuple) or _is_large(value) or isinstance(value, Known)


def _is_large(value: Any) -> bool:
    """Whether a value is more than one number."""
    return isinstance(value, Block | Patches | Patch | Struct | Table | Filled | tuple)


# --- what a kernel needs of the names in it -----------------------------------------------------


def exposed(statements: Sequence[ast.stmt], given: set[str]) -> set[str]:
    """Names that may be read before statements give them a value; those that surely get one are
    added to ``given``.
    """
    found: set[str] = set()
    for one in statements:
        if isinstance(one, ast.If):
            found |= _read(one.test) - given
            ways = [set(given), set(given)]
            for way, body in zip(ways, (one.body, one.orelse), strict=True):
                found |= exposed(body, way)
            given |= ways[0] & ways[1]
        elif isinstance(one, ast.For):
            found |= _read(one.iter) - given
            assert isinstance(one.target, ast.Name)
            found |= exposed(one.body, {*given, one.target.id})
        elif isinstance(one, ast.While):
            found |= _read(one.test) - given
            found |= exposed(one.body, set(given))
        elif isinstance(one, ast.Assign):
            found |= (_read(one.value) | _read(one.targets[0])) - given
            if isinstance(one.targets[0], ast.Name):
                given.add(one.targets[0].id)
    return found


def _read(node: ast.expr) -> set[str]:
    return {n.id for n in ast.walk(node) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Load)}


def stored(statements: Sequence[ast.stmt]) -> set[str]:
    """Names that statements give a value."""
    nodes = (node for one in statements for node in ast.walk(one))
    return {n.id for n in nodes if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)}


def loads(statements: Sequence[ast.stmt]) -> set[str]:
    """Names that statements read."""
    nodes = (node for one in statements for node in ast.walk(one))
    return {n.id for n in nodes if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Load)}


def without_idle(statements: list[ast.stmt], keep: set[str]) -> list[ast.stmt]:
    """Statements less those that give a value to a name that nothing reads."""
    while True:
        needed = loads(statements) | keep
        left = _kept_statements(statements, needed)
        if sum(1 for s in left for _ in ast.walk(s)) == sum(
            1 for s in statements for _ in ast.walk(s)
        ):
            return left
        statements = left


def _kept_statements(statements: Sequence[ast.stmt], needed: set[str]) -> list[ast.stmt]:
    out: list[ast.stmt] = []
    for one in statements:
        if isinstance(one, ast.Assign) and isinstance(one.targets[0], ast.Name):
            if one.targets[0].id in needed:
                out.append(one)
        elif isinstance(one, ast.If):
            body = _kept_statements(one.body, needed)
            orelse = _kept_statements(one.orelse, needed)
            if body or orelse:
                out.append(ast.If(one.test, body or [ast.Pass()], orelse))
        elif isinstance(one, ast.For):
            body = _kept_statements(one.body, needed)
            if body:
                out.append(ast.For(one.target, one.iter, body, []))
        elif not isinstance(one, ast.Pass):
            out.append(one)
    return out


def _with_patch(body: list[ast.stmt], loop: str) -> list[ast.stmt]:
    """The body of a loop over patches, which reads the numbers of a patch, and writes them back."""
    given: set[str] = set()
    needed = exposed(body, given) & PATCH_PLACE.keys()
    changed = stored(body) & PATCH_PLACE.keys()
    before: list[ast.stmt] = [
        ast.Assign([ast.Name(name, ast.Store())], _of_patch(name, loop))
        for name in sorted(needed | (changed - given))
    ]
    after: list[ast.stmt] = [
        ast.Assign([_of_patch(name, loop, ast.Store())], ast.Name(name, ast.Load()))
        for name in sorted(changed)
    ]
    return [*before, *body, *after]


def _of_patch(name: str, loop: str, context: Any = None) -> ast.Subscript:
    """Where a number of a patch lies between days.

    The place is one sum, so that all numbers of a patch are read from one address; ``source``
    fills in its parts.
    """
    (place,) = parsed(f"unsigned(tile + {loop} * tile_step + row_of_{name})")
    assert isinstance(place, ast.Expr)
    whole = ast.Name("all_patches", ast.Load())
    return ast.Subscript(whole, place.value, context or ast.Load())
