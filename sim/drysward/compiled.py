"""Compiled code, the day loop's above all, and where its machine code is kept.

numba's own cache looks only at the file of the outer function, so an edit to a process file
would run old code. The cache folder is therefore named by a digest of every source that is
compiled.
"""

from __future__ import annotations

import ast
import copy
import hashlib
import importlib.resources
import inspect
import linecache
import textwrap
from collections.abc import Callable, Mapping
from functools import cache
from pathlib import Path
from threading import Lock
from typing import Any

import numba
import numba.extending
import platformdirs

# Packages whose functions are compiled: of ``site`` the passes over weather that make its days, of
# ``drive`` what goes through them.
_COMPILED = ("drysward.day", "drysward.physics", "drysward.site", "drysward.drive")


# Nobody calls such a function from outside, so it needs no way in: to make those took a seventh of
# all compiling.
_OPTIONS = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True}


@numba.extending.intrinsic
def select(context: Any, condition: Any, one: Any, other: Any) -> Any:
    """``one if condition else other``, both worked out: no branch, as lanes need it."""
    both = context.unify_types(numba.types.unliteral(one), numba.types.unliteral(other))

    def build(_: Any, builder: Any, __: Any, values: Any) -> Any:
        return builder.select(*values)

    return both(numba.types.boolean, both, both), build


class _Selects(ast.NodeTransformer):
    def visit_IfExp(self, node: ast.IfExp) -> ast.Call:
        self.generic_visit(node)
        return ast.Call(ast.Name("select", ast.Load()), [node.test, node.body, node.orelse], [])


def with_selects(
    tree: ast.FunctionDef, known: Mapping[str, Any], branches: bool = False
) -> Callable[..., Any]:
    """The function of a syntax tree, whose ``a if x else b`` are made without branches.

    Numba makes a branch of each, and of a branch that keeps an old number a masked write, which
    takes twenty times as long as a write on some processors. ``branches`` leaves them, for code
    that is not compiled.
    """
    tree = copy.deepcopy(tree)
    tree.decorator_list = []
    module = ast.Module([tree if branches else _Selects().visit(tree)], [])
    text = ast.unparse(module)
    file = f"<{tree.name} {'as it is' if branches else 'with selects'}>"
    linecache.cache[file] = (len(text), None, text.splitlines(keepends=True), file)
    names = {**known, "select": select}
    exec(compile(text, file, "exec"), names)
    made: Callable[..., Any] = names[tree.name]
    return made


def tree_of(function: Callable[..., Any]) -> ast.FunctionDef:
    """The syntax tree of a function."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(function))).body[0]
    assert isinstance(tree, ast.FunctionDef)
    return tree


def compiles_as(
    plain: Callable[..., Any], make: Callable[[], Callable[..., Any]], inlined: bool = False
) -> Callable[..., Any]:
    """``plain``, for which compiled code has what ``make`` gives; made when it is first needed."""
    made = cache(make)
    options: Any = {**_OPTIONS, "forceinline": inlined}
    numba.extending.overload(plain, jit_options=options, strict=False)(lambda *_: made())
    return plain


def jitable(function: Callable[..., Any]) -> Any:
    """A function that compiled code may call, and plain code too."""
    return compiles_as(
        function, lambda: with_selects(tree_of(function), function.__globals__), inlined=True
    )


def sources_digest() -> str:
    """Digest of every source file with compiled code."""
    digest = hashlib.sha256(numba.__version__.encode())
    for package in _COMPILED:
        for item in sorted(importlib.resources.files(package).iterdir(), key=lambda f: f.name):
            if item.name.endswith(".py"):
                digest.update(item.name.encode())
                digest.update(item.read_bytes())
    return digest.hexdigest()[:16]


def cache_folder() -> Path:
    """Folder of the compiled code that belongs to these very sources."""
    return Path(platformdirs.user_cache_dir("drysward", appauthor=False)) / sources_digest()


def is_warm() -> bool:
    """Whether compiled code for these sources has been kept before."""
    folder = cache_folder()
    return folder.is_dir() and any(folder.rglob("*.nbc"))


# The folder is a setting of the whole process, and threads may ask for functions together.
_SETTING = Lock()


@cache
def compiled(function: Callable[..., Any], counted: bool = True) -> Callable[..., Any]:
    """A function of the numba subset compiled, without the GIL; kept for the next program.

    ``counted``: its arrays have reference counts, which what allocates needs.
    """
    with _SETTING:
        return _compiled(function, counted)


def _compiled(function: Callable[..., Any], counted: bool) -> Callable[..., Any]:
    config: Any = numba.config  # its settings are made at run time
    before = config.CACHE_DIR
    folder = cache_folder()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        config.CACHE_DIR = str(folder)
        keep = True
    except OSError:
        keep = False  # a read-only home: compile each time
    try:
        # Options that numba leaves out of its own signature. Only Python calls these functions.
        options: dict[str, Any] = {"_nrt": counted, "no_cfunc_wrapper": True}
        return numba.njit(nogil=True, cache=keep, error_model="numpy", **options)(function)
    finally:
        config.CACHE_DIR = before
