"""Patches side by side: the state of several in one array, so that one instruction steps them all.

A block holds ``LANES`` patches of one field as one flat array, value by value: the value NAME of
the patch in lane i is at ``block[NAME + i]``. Only with one array, and places in it that are known
beforehand, can the compiler see that no value overlaps another and step the lanes together.
A patch's numbers do not depend on which others lie beside it.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numba.extending import register_jitable
from numpy.typing import NDArray

from drysward.day.records import PATCH, as_values

FloatArray = NDArray[np.float64]

LANES = 8
CACHE_LINE = 64  # bytes
_CARRIED = PATCH.names or ()
# Of a day on a patch: 1 over the share of roots left, irrigation caught and shed, water before,
# what left it, what later parts of the day need of earlier ones, and what there is to play on.
_OF_THE_DAY = (
    "inv_rooting", "caught", "shed", "before", "runoff", "drainage", "leaf_evaporation",
    "soil_evaporation", "transpiration", "ks", "wet3", "residual",
    "hard", "soft", "mud", "standing", "airless", "dust", "moist", "hardness", "air",
)  # fmt: skip
_PLACE = {name: LANES * k for k, name in enumerate((*_CARRIED, *_OF_THE_DAY))}
SIZE = LANES * len(_PLACE)

W1, W2, W3, THATCH = (_PLACE[name] for name in ("w1", "w2", "w3", "thatch"))
GREEN, DORMANT, DEAD, WORN = (_PLACE[name] for name in ("green", "dormant", "dead", "worn"))
CROWN_DRYNESS, DORMANT_AGE = _PLACE["crown_dryness"], _PLACE["dormant_age"]
ROOT_LOSS, AIRLESS_DAYS = _PLACE["root_loss"], _PLACE["airless_days"]
DEPLETION, FOOTPRINT, WILT = (_PLACE[name] for name in ("depletion", "footprint", "wilt"))
INV_ROOTING, CAUGHT, SHED, BEFORE = (_PLACE[name] for name in _OF_THE_DAY[:4])
RUNOFF, DRAINAGE, LEAF_EVAPORATION = (_PLACE[name] for name in _OF_THE_DAY[4:7])
SOIL_EVAPORATION, TRANSPIRATION = (_PLACE[name] for name in _OF_THE_DAY[7:9])
KS, WET3, RESIDUAL = (_PLACE[name] for name in _OF_THE_DAY[9:12])
HARD, SOFT, MUD, STANDING, AIRLESS = (_PLACE[name] for name in _OF_THE_DAY[12:17])
DUST, MOIST, HARDNESS, AIR = (_PLACE[name] for name in _OF_THE_DAY[17:])


def into_lanes(patches: np.recarray) -> FloatArray:
    """Blocks (F, K, SIZE) of PATCH (B, F, P): patch p of plan b is number ``b * P + p``, of which
    number n is lane ``n % LANES`` of block ``n // LANES``. Lanes left over repeat the last patch.
    """
    n_plans, n_fields, n_patches = patches.shape
    n = n_plans * n_patches
    n_blocks = -(-n // LANES)
    values = as_values(patches).transpose(1, 0, 2, 3).reshape(n_fields, n, -1)
    filled = np.pad(values, ((0, 0), (0, n_blocks * LANES - n), (0, 0)), mode="edge")
    blocks = _aligned_zeros((n_fields, n_blocks, SIZE))
    side_by_side = filled.reshape(n_fields, n_blocks, LANES, -1).transpose(0, 1, 3, 2)
    blocks[:, :, : LANES * len(_CARRIED)] = side_by_side.reshape(n_fields, n_blocks, -1)
    lost = blocks[:, :, ROOT_LOSS : ROOT_LOSS + LANES]
    blocks[:, :, INV_ROOTING : INV_ROOTING + LANES] = 1.0 / (1.0 - lost)
    return blocks


def from_lanes(blocks: FloatArray, patches: np.recarray) -> None:
    """Write what ``into_lanes`` made of ``patches``, stepped since, back into them."""
    n_plans, n_fields, n_patches = patches.shape
    carried = blocks[:, :, : LANES * len(_CARRIED)]
    by_lane = carried.reshape(n_fields, -1, len(_CARRIED), LANES).transpose(0, 1, 3, 2)
    values = by_lane.reshape(n_fields, -1, len(_CARRIED))[:, : n_plans * n_patches]
    values = values.reshape(n_fields, n_plans, n_patches, -1)
    as_values(patches)[:] = values.transpose(1, 0, 2, 3)


@register_jitable
def mean_of(value: int, blocks: Any, first: int, n: int) -> float:
    """Mean of a value, GREEN or another, over the ``n`` patches from number ``first`` on of the
    blocks (K, SIZE) of a field.
    """
    total = 0.0
    for number in range(first, first + n):
        total += blocks[number // LANES, value + number % LANES]
    return total / n


def _aligned_zeros(shape: tuple[int, ...]) -> FloatArray:
    """Zeros that start on a cache line: values of a block that lie across two are slower."""
    n_bytes = 8 * math.prod(shape)
    raw = np.zeros(n_bytes + CACHE_LINE, np.uint8)
    start = -raw.ctypes.data % CACHE_LINE
    return raw[start : start + n_bytes].view(np.float64).reshape(shape)
