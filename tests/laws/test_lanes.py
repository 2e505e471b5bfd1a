"""Laws of lanes: what a part does to one run, its loop does in every lane, compiled or not."""

from __future__ import annotations

import ast

import numba
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drysward.compiled import inline, jitable, select, tree_of, with_selects
from drysward.day import lanes
from drysward.day.lanes import LANES, PATCH_PLACE, PATCH_SIZE, PLACE, QUAD, SECTIONS, SIZE
from drysward.day.records import PATCH, PLAN
from drysward.physics.arithmetic import larger


def of_patch(w1, taken, fc1, left, thatch, mean_w1):
    """A part that knows the patch; ``taken`` and ``left`` are the same in all lanes."""
    gone = larger(w1 - fc1, left) * taken
    w1 -= gone
    thatch = thatch + gone if (thatch > 0.5) & (w1 > 0.0) else thatch - 2.0 * gone
    mean_w1 += w1
    return thatch, mean_w1, w1


def of_field(mean_w1, divisor, stored):
    """A part that knows no patch."""
    stored = mean_w1 / divisor if stored > 0.0 else stored
    return stored


OF_PATCH, OF_FIELD = lanes.in_lanes(of_patch), lanes.in_lanes(of_field)
READ = lanes.read_into_lanes("delivery")


@numba.njit(error_model="numpy")
def compiled_of_patch(block, patch, quads, taken, left):
    OF_PATCH(block, patch, quads, taken, left)


@numba.njit(error_model="numpy")
def compiled_of_field(block, quads, divisor):
    OF_FIELD(block, quads, divisor)


@numba.njit(error_model="numpy")
def compiled_read(block, line, start, stop):
    READ(block, line, start, stop)


def filled(size):
    return np.random.default_rng(size).normal(size=size)


def lane(array, places, name, i):
    return array[places[name] + i]


@pytest.mark.parametrize("quads", [1, 3, 4])
@pytest.mark.parametrize("call", [OF_PATCH, compiled_of_patch], ids=["plain", "compiled"])
def test_a_part_is_done_in_every_lane(call, quads):
    block, patch = filled(SIZE), filled(PATCH_SIZE)
    expected, expected_patch = block.copy(), patch.copy()
    for i in range(QUAD * quads):
        thatch, mean_w1, w1 = of_patch(
            lane(patch, PATCH_PLACE, "w1", i),
            0.7,
            lane(block, PLACE, "fc1", i),
            0.1,
            lane(patch, PATCH_PLACE, "thatch", i),
            lane(block, PLACE, "mean_w1", i),
        )
        expected_patch[PATCH_PLACE["w1"] + i] = w1
        expected_patch[PATCH_PLACE["thatch"] + i] = thatch
        expected[PLACE["mean_w1"] + i] = mean_w1
    call(block, patch, quads, 0.7, 0.1)
    # Nothing else is written, in no other lane either.
    assert block.tobytes() == expected.tobytes()
    assert patch.tobytes() == expected_patch.tobytes()


@pytest.mark.parametrize("call", [OF_FIELD, compiled_of_field], ids=["plain", "compiled"])
def test_a_part_without_patch_names_needs_no_patch(call):
    block = filled(SIZE)
    expected = block.copy()
    for i in range(LANES):
        at = PLACE["stored"] + i
        expected[at] = of_field(block[PLACE["mean_w1"] + i], 3.0, block[at])
    call(block, 4, 3.0)
    assert block.tobytes() == expected.tobytes()


def test_what_a_part_returns_must_have_a_name():
    def nameless(w1):
        """Returns a sum."""
        return w1 + 1.0

    with pytest.raises(AssertionError, match="nameless returns what has no name"):
        lanes.in_lanes(nameless)(filled(SIZE), filled(PATCH_SIZE), 1)


@pytest.mark.parametrize("call", [READ, compiled_read], ids=["plain", "compiled"])
def test_a_line_is_read_to_the_lanes_from_one_to_another(call):
    block, line = filled(SIZE), np.array([1.5, 2.5, 3.5, 4.5, 5.5])
    expected = block.copy()
    for name, value in zip(lanes.SECTIONS["delivery"], line, strict=True):
        expected[PLACE[name] + 5 : PLACE[name] + 9] = value
    call(block, line, np.uint64(5), np.uint64(9))
    assert block.tobytes() == expected.tobytes()


def chosen(x, y, one, other):
    """A condition in a condition."""
    return (one if x > 0.0 else other) if (y >= x) | (y < -1.0) else -one


CHOSEN = jitable(chosen)


@numba.njit(error_model="numpy")
def compiled_chosen(x, y, one, other):
    return CHOSEN(x, y, one, other)


@settings(deadline=None)  # the first example compiles
@given(*[st.floats(width=64)] * 4)
def test_select_is_the_plain_condition(x, y, one, other):
    expected = np.float64(chosen(x, y, one, other))
    assert np.float64(compiled_chosen(x, y, one, other)).tobytes() == expected.tobytes() or (
        np.isnan(expected)
    )


def test_conditions_are_compiled_without_branches():
    made = tree_of(with_selects(tree_of(chosen), {}))
    assert not any(isinstance(node, ast.IfExp) for node in ast.walk(made))
    assert sum(getattr(node, "id", "") == select.__name__ for node in ast.walk(made)) == 2
    as_it_is = tree_of(with_selects(tree_of(chosen), {}, branches=True))
    assert sum(isinstance(node, ast.IfExp) for node in ast.walk(as_it_is)) == 2


# --- what lies in a block -----------------------------------------------------------------------


def test_every_name_has_one_place():
    names = [name for section in SECTIONS.values() for name in section]
    assert len(set(names)) == len(names) == len(PLACE)
    assert not set(names) & set(PATCH_PLACE)
    assert LANES * len(names) == SIZE
    assert sorted(PLACE.values()) == list(range(0, SIZE, LANES))
    assert LANES * (len(PATCH.names) + 2 + len(lanes.PATCH_SUMS)) == PATCH_SIZE
    assert sorted(PATCH_PLACE.values()) == list(range(0, PATCH_SIZE, LANES))
    assert LANES % QUAD == 0


def test_sections_lie_one_after_another():
    start = 0
    for name, names in SECTIONS.items():
        assert lanes.section(name) == (start, start + LANES * len(names))
        start += LANES * len(names)
    assert start == SIZE


def test_tables_of_a_record_have_no_place_in_a_block():
    tables = {name for name in PLAN.names if PLAN[name].shape}
    assert tables
    plain = [name.removeprefix("plan_") for name in SECTIONS["plan"]]
    assert plain == [name for name in PLAN.names if name not in tables]


@inline
def sum_into(values, sums):
    """Two sums of the values, in place."""
    total = 0.0
    for value in values:
        if value > 0.0:
            sums[0] += value
        total += value
    sums[1] = total


@inline
def sum_twice(values, sums):
    """The same of twice the values; returns how many there are."""
    total = [2.0 * value for value in values]
    sum_into(total, sums)
    return len(total)


def sums_of(values, total):
    """A name that is also one of what is set in keeps its value."""
    sums = [0.0, 0.0]
    n = 0
    while n == 0:
        n = sum_twice(values, sums)
    sum_into(values, sums)
    return sums, n, total


def test_what_is_large_is_set_in_with_names_of_its_own():
    made = with_selects(tree_of(sums_of), sums_of.__globals__)
    called = {"sum_into", "sum_twice"}
    assert called <= set(sums_of.__code__.co_names)
    assert not called & set(made.__code__.co_names)
    assert made([1.0, -3.0], 7.0) == sums_of([1.0, -3.0], 7.0) == ([3.0, -2.0], 2, 7.0)


def test_a_function_that_returns_early_cannot_be_inlined():
    @inline
    def early(values):
        """Out before its end."""
        if values:
            return
        values.append(1.0)

    def calling(values):
        """Calls it."""
        early(values)

    with pytest.raises(AssertionError, match="early returns early"):
        with_selects(tree_of(calling), {"early": early})
