"""The digest of a result's file: of its numbers and of what says what they are."""

from __future__ import annotations

import hashlib
import json
from typing import Any

import numpy as np
import xarray as xr

DIGEST = "digest"
# What tools add to a file when they copy it or pack it anew.
_ADDED = (DIGEST, "history")


def digest_of(raw: xr.Dataset) -> str:
    """Digest of every variable and attribute as they stand in a file, which was opened undecoded.

    The same whatever library wrote or packed the file, and in whatever order.
    """
    sha = hashlib.sha256(_attributes_as_json(raw.attrs))
    for name in sorted(map(str, raw.variables)):
        variable = raw.variables[name]
        values = np.asarray(variable.values)
        head = [name, variable.dims, values.shape, values.dtype.str.lstrip("<>|=")]
        sha.update(json.dumps(head).encode() + _attributes_as_json(variable.attrs))
        if values.dtype.kind in "OU":
            sha.update(json.dumps(values.tolist()).encode())
        else:
            little = values.astype(values.dtype.newbyteorder("<"), copy=False)
            sha.update(np.ascontiguousarray(little).tobytes())
    return f"sha256:{sha.hexdigest()}"


def _attributes_as_json(attrs: dict[str, Any]) -> bytes:
    plain = {
        str(name): np.asarray(value).tolist()
        for name, value in attrs.items()
        if name not in _ADDED
    }
    return json.dumps(plain, sort_keys=True).encode()
