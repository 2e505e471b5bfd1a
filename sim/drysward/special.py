"""Special functions from scipy.special.

Loading scipy.special wraps each of its functions for arrays of other libraries, which takes longer
than a short run. The functions are in one compiled module of it, which a command loads alone.
"""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec
from types import ModuleType
from typing import Any

from drysward.loading import substituted


def _functions() -> Any:
    # Its home need only be there by name while the module loads.
    home = ModuleType("scipy.special")
    spec = find_spec("scipy.special")
    home.__path__ = list(spec.submodule_search_locations or ()) if spec else []
    try:
        with substituted("scipy.special", home):
            return import_module("scipy.special._ufuncs")
    except ImportError:
        return import_module("scipy.special")


_found = _functions()
expit, logit = _found.expit, _found.logit
ndtr, ndtri = _found.ndtr, _found.ndtri
gammaincinv, gammainccinv = _found.gammaincinv, _found.gammainccinv
betaincinv = _found.betaincinv
bdtr, chdtrc = _found.bdtr, _found.chdtrc
