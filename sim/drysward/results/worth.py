"""Money at another time: the factors of the compound-interest tables of engineering economics.

Payments fall at the end of each year, and the rate stays the same. Textbooks of engineering
economics print these factors as (P/A, i, n) and (A/P, i, n).
"""

from __future__ import annotations


def present_worth_factor(rate: float, years: float) -> float:
    """What one a year for ``years`` years is worth today, (P/A, i, n) = (1 - (1 + i)^-n) / i.

    ``rate`` is a share a year, 0 or more; at 0 the factor is ``years``.
    """
    return years if rate == 0.0 else (1.0 - (1.0 + rate) ** -years) / rate


def capital_recovery_factor(rate: float, years: float) -> float:
    """Equal yearly payment that pays one back in ``years`` years, (A/P, i, n) = 1 / (P/A, i, n).

    ``rate`` is a share a year, 0 or more; ``years`` more than 0.
    """
    return 1.0 / present_worth_factor(rate, years)
