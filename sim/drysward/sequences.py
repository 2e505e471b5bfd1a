"""Low-discrepancy sequences from scipy.stats.qmc.

Loading scipy.stats creates all of its distributions, which takes longer than a short run. A command
loads only the module of the sequences.
"""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec, module_from_spec
from typing import Any

# Its substitute must be removed before scipy.stats imports scipy.special.
import drysward.special  # noqa: F401
from drysward.loading import substituted


def _module() -> Any:
    # Its home need only be there by name while the module loads, and its table of numbers with the
    # first points.
    spec = find_spec("scipy.stats")
    home = module_from_spec(spec) if spec else None
    try:
        with substituted("scipy.stats", home):
            module = import_module("scipy.stats._qmc")
            module.Sobol(1)
            return module
    except ImportError:
        return import_module("scipy.stats.qmc")


_found = _module()
Sobol, LatinHypercube = _found.Sobol, _found.LatinHypercube
