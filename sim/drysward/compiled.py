"""Compiled code, above all the day loop, and the folder of its machine code.

numba's own cache checks only the file of the outermost function, so an edit to a file of
``physics`` would run old code. The cache folder is therefore named by a digest of all compiled
sources; ``code_cache`` stores the machine code there.
"""

from __future__ import annotations

import ast
import builtins
import copy
import hashlib
import importlib
import importlib.resources
import inspect
import linecache
import textwrap
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from pathlib import Path
from threading import Lock
from typing import Any

import numba
import numba.extending

from drysward.code_cache import ENDING, CodeCache
from drysward.files import user_cache
from drysward.loading import substituted

# numba imports linear algebra from scipy, which our compiled code does not use.
with substituted("scipy.linalg.cython_blas", None):
    importlib.import_module("numba.np.arraymath")

# Packages with compiled functions: of ``site`` the passes over the weather, of ``drive`` the run
# through the days.
_COMPILED = ("drysward.day", "drysward.physics", "drysward.site", "drysward.drive")

# Python and C never call these functions, so they need no wrappers, which took a seventh of all
# compile time.
_OPTIONS = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}


@numba.extending.intrinsic
def select(context: Any, condition: Any, one: Any, other: Any) -> Any:
    """``one if condition else other`` with both evaluated: no branch, as lanes need it."""
    both = context.unify_types(numba.types.unliteral(one), numba.types.unliteral(other))

    def build(_: Any, builder: Any, __: Any, values: Any) -> Any:
        return builder.select(*values)

    return both(numba.types.boolean, both, both), build


class _Selects(ast.NodeTransformer):
    def visit_IfExp(self, node: ast.IfExp) -> ast.Call:
        self.generic_visit(node)
        return ast.Call(ast.Name("select", ast.Load()), [node.test, node.body, node.orelse], [])


class _Inliner:
    """Inlines equations, and functions marked ``inline``, where they are called.

    An equation is a ``jitable`` function that only assigns numbers and returns one; compiling and
    linking each of them separately took a third of all compile time. A large function would be
    optimized separately, and once more in every function that calls it. The names that inlined
    code refers to are added to ``known``.
    """

    def __init__(self, known: dict[str, Any]) -> None:
        self.known = known
        self.calls = 0
        self.before: list[ast.stmt] = []

    def body(self, statements: Sequence[ast.stmt]) -> list[ast.stmt]:
        out: list[ast.stmt] = []
        for statement in statements:
            if isinstance(statement, ast.For | ast.If | ast.While):
                statement.body = self.body(statement.body)
                statement.orelse = self.body(statement.orelse)
                out.append(statement)
                continue
            self.before = []
            changed = self._visit(statement)
            out += self.before
            if not _says_nothing(changed):
                out.append(changed)
        return out

    def _visit(self, node: Any) -> Any:
        for name, value in ast.iter_fields(node):
            if isinstance(value, list):
                parts = [self._visit(v) if isinstance(v, ast.AST) else v for v in value]
                setattr(node, name, parts)
            elif isinstance(value, ast.AST):
                setattr(node, name, self._visit(value))
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and not node.keywords:
            called = self.known.get(node.func.id)
            whole = _whole(called) if called in _EQUATIONS or called in _LARGE else None
            if whole is not None:
                return self._inline(*whole, node.args)
        return node

    def _inline(
        self, called: ast.FunctionDef, known: Mapping[str, Any], arguments: list[ast.expr]
    ) -> ast.expr:
        self.calls += 1
        mark = f"_{self.calls}"
        steps = copy.deepcopy(called.body)
        for node in (node for step in steps for node in ast.walk(step)):
            if isinstance(node, ast.Name):
                if node.id in known:
                    if self.known.setdefault(node.id, known[node.id]) is not known[node.id]:
                        node.id = f"{node.id}_of_{called.name}"
                        self.known[node.id] = known[node.id]
                else:
                    node.id += mark
        for name, argument in zip(called.args.args, arguments, strict=True):
            self.before.append(ast.Assign([ast.Name(name.arg + mark, ast.Store())], argument))
        last = steps.pop() if isinstance(steps[-1], ast.Return) else None
        self.before += steps
        if last is None:
            return ast.Constant(None)
        assert isinstance(last, ast.Return)
        assert last.value is not None
        return last.value


def _says_nothing(statement: ast.stmt) -> bool:
    """Whether a statement has become empty: an inlined call that returned nothing."""
    return isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant)


_EQUATIONS: set[Any] = set()
_LARGE: set[Any] = set()
_PARSING = Lock()


@cache
def _whole(function: Callable[..., Any]) -> tuple[ast.FunctionDef, dict[str, Any]] | None:
    """The tree of a function with its calls inlined, and the values of its global names.

    None when it cannot be inlined: it returns early, or is an equation with loops.
    """
    tree = tree_of(function)
    plain = (ast.Assign, ast.AugAssign, ast.Expr)
    returns = sum(isinstance(node, ast.Return) for node in ast.walk(tree))
    ends = isinstance(tree.body[-1], ast.Return)
    if function in _LARGE:
        assert returns == ends, f"{function.__name__} returns early"
    elif not ends or not all(isinstance(s, plain) for s in tree.body[:-1]):
        return None
    known = {**vars(builtins), **function.__globals__}
    tree.body = _Inliner(known).body(tree.body[1:])
    names = {node.id for node in ast.walk(tree) if isinstance(node, ast.Name)}
    local = {argument.arg for argument in tree.args.args}
    local |= {n.id for n in ast.walk(tree) if isinstance(n, ast.Name) and _is_stored(n)}
    return tree, {name: known[name] for name in names - local if name in known}


def _is_stored(name: ast.Name) -> bool:
    return isinstance(name.ctx, ast.Store)


def with_selects(
    tree: ast.FunctionDef, known: Mapping[str, Any], branches: bool = False
) -> Callable[..., Any]:
    """The function of a syntax tree, with every ``a if x else b`` compiled without a branch.

    Numba would emit a branch for each, and for a branch that keeps an old value a masked write,
    which takes twenty times as long as a write on some processors. ``branches`` keeps them, for
    code that is not compiled.
    """
    tree, names = copy.deepcopy(tree), dict(known)
    tree.decorator_list = []
    if not branches:
        tree.body = _Inliner(names).body(tree.body)
        tree = _Selects().visit(tree)
    module = ast.fix_missing_locations(ast.Module([tree], []))
    text = ast.unparse(module)
    file = f"<{tree.name} {'as it is' if branches else 'with selects'}>"
    linecache.cache[file] = (len(text), None, text.splitlines(keepends=True), file)
    names["select"] = select
    exec(compile(text, file, "exec"), names)
    built: Callable[..., Any] = names[tree.name]
    return built


def parsed(code: str) -> list[ast.stmt]:
    """The syntax trees of statements, one thread at a time.

    Python 3.11 counts the depth of all trees in one place, so threads that parse at once can fail.
    """
    with _PARSING:
        return ast.parse(code).body


def tree_of(function: Callable[..., Any]) -> ast.FunctionDef:
    """The syntax tree of a function."""
    tree = parsed(textwrap.dedent(inspect.getsource(function)))[0]
    assert isinstance(tree, ast.FunctionDef)
    return tree


def compiles_as(
    plain: Callable[..., Any], build: Callable[[], Callable[..., Any]], inlined: bool = False
) -> Callable[..., Any]:
    """``plain``, replaced in compiled code by the result of ``build``, called when first needed."""
    built = cache(build)
    options: Any = {**_OPTIONS, "forceinline": inlined}
    numba.extending.overload(plain, jit_options=options, strict=False)(lambda *_: built())
    return plain


def equation(function: Callable[..., Any]) -> Any:
    """As ``jitable``, for a function that is inlined where compiled code calls it."""
    _EQUATIONS.add(function)
    return jitable(function)


def equations() -> tuple[Any, ...]:
    """Functions marked ``equation`` so far, in no order; plain Python as it is written."""
    return tuple(_EQUATIONS)


def inline(function: Callable[..., Any]) -> Any:
    """As ``jitable``, for a large function that is called in one place and does not return early:
    its statements are inlined there.
    """
    _LARGE.add(function)
    return jitable(function)


def jitable(function: Callable[..., Any]) -> Any:
    """A function that compiled code and plain Python may both call."""
    return compiles_as(
        function, lambda: with_selects(tree_of(function), function.__globals__), inlined=True
    )


def sources_digest() -> str:
    """Digest of every source file with compiled code."""
    digest = hashlib.sha256(numba.__version__.encode())
    digest.update(Path(__file__).read_bytes())  # this file rewrites the code that is compiled
    for package in _COMPILED:
        for item in sorted(importlib.resources.files(package).iterdir(), key=lambda f: f.name):
            if item.name.endswith(".py"):
                digest.update(item.name.encode())
                digest.update(item.read_bytes())
    return digest.hexdigest()[:16]


def cache_folder() -> Path:
    """Folder of the machine code of exactly these sources."""
    return user_cache() / sources_digest()


def is_warm() -> bool:
    """Whether machine code of these sources is in the cache."""
    return any(cache_folder().glob(f"*{ENDING}"))


class _Whole(numba.core.compiler.Compiler):
    """Inlines the calls of a function when it is compiled, and not when it is loaded."""

    def compile_extra(self, func: Callable[..., Any]) -> Any:
        return super().compile_extra(with_selects(tree_of(func), func.__globals__))


@cache
def compiled(function: Callable[..., Any], counted: bool = True) -> Callable[..., Any]:
    """A function of the numba subset, compiled without the GIL and cached for later processes.

    ``counted``: arrays have reference counts, which code that allocates needs.
    """
    # Options missing from numba's own signature. Only Python calls these functions.
    options: dict[str, Any] = {"_nrt": counted, "no_cfunc_wrapper": True}
    options["pipeline_class"] = _Whole
    code: Any = numba.njit(nogil=True, error_model="numpy", **options)(function)
    code._cache = CodeCache(function, cache_folder())
    return code
