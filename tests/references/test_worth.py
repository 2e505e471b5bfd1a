"""Present worth against the compound-interest tables of engineering economics.

Rows of the tables that textbooks print (such as Newnan, Eschenbach & Lavelle, Engineering Economic
Analysis, appendix of compound interest tables); recalled from memory.
"""

from __future__ import annotations

import math

import pytest

from drysward.results.costs import (
    equal_yearly_cost,
    has_life,
    present_worth,
    storage_first_cost,
)
from drysward.results.worth import capital_recovery_factor, present_worth_factor
from drysward.scenario.model import Costs


@pytest.mark.parametrize(
    ("rate", "years", "printed"),
    [(0.04, 20, 13.5903), (0.05, 10, 7.7217), (0.06, 20, 11.4699), (0.08, 10, 6.7101)],
)
def test_present_worth_of_a_yearly_cost(rate: float, years: int, printed: float) -> None:
    # (P/A, i, n), from memory; four decimals printed.
    assert present_worth_factor(rate, years) == pytest.approx(printed, abs=0.5e-4)


@pytest.mark.parametrize(
    ("rate", "years", "printed"), [(0.08, 10, 0.14903), (0.05, 20, 0.08024)]
)
def test_capital_recovery(rate: float, years: int, printed: float) -> None:
    # (A/P, i, n), from memory; five decimals printed.
    assert capital_recovery_factor(rate, years) == pytest.approx(printed, abs=0.5e-5)


def test_first_cost_against_yearly_cost() -> None:
    """Two root zones over 20 years at 6%; worked by hand with (P/A, 6%, 20) = 11.4699.

    Sand: 120,000 to build and 4,000 a year: 120,000 + 4,000 x 11.4699 = 165,879.6.
    Native: 30,000 to build and 11,000 a year: 30,000 + 11,000 x 11.4699 = 156,168.9.
    Native is cheaper by 9,710.7, though it costs 7,000 a year more.
    As equal yearly costs, with (A/P, 6%, 20) = 1 / 11.4699 = 0.0871847:
    sand 4,000 + 120,000 x 0.0871847 = 14,462.2; native 11,000 + 30,000 x 0.0871847 = 13,615.5.
    """
    costs = Costs(life_years=20, discount_rate=0.06)
    # The factor is printed to 0.00005: 0.55 of 11,000 a year, and 0.05 of 120,000 paid back.
    rounding = 11_000 * 0.5e-4
    sand, native = (120_000.0, 4_000.0), (30_000.0, 11_000.0)
    assert present_worth(*sand, costs) == pytest.approx(165_879.6, abs=rounding)
    assert present_worth(*native, costs) == pytest.approx(156_168.9, abs=rounding)
    assert equal_yearly_cost(*sand, costs) == pytest.approx(14_462.2, abs=0.1)
    assert equal_yearly_cost(*native, costs) == pytest.approx(13_615.5, abs=0.1)


def test_the_two_ways_of_telling_agree() -> None:
    costs = Costs(life_years=15, discount_rate=0.07)
    yearly = equal_yearly_cost(5_000.0, 300.0, costs)
    assert present_worth(0.0, yearly, costs) == pytest.approx(
        present_worth(5_000.0, 300.0, costs), rel=1e-12
    )


def test_without_interest_years_add_up() -> None:
    assert present_worth_factor(0.0, 20) == 20.0
    assert capital_recovery_factor(0.0, 20) == 0.05
    assert present_worth_factor(1e-9, 20) == pytest.approx(20.0, rel=1e-6)


def test_no_life_no_sum_over_it() -> None:
    assert not has_life(Costs())
    assert has_life(Costs(life_years=1))
    with pytest.raises(ValueError, match="no life"):
        present_worth(1.0, 1.0, Costs())


def test_price_of_a_store() -> None:
    # 0.04 a gallon of 231 cubic inches (0.003785411784 m3) for 2 million gallons: 80,000.
    costs = Costs(storage_price_m3=0.04 / 0.003785411784)
    assert math.isclose(storage_first_cost(2e6 * 0.003785411784, costs), 80_000.0)
    assert storage_first_cost(1_000.0, Costs()) == 0.0
