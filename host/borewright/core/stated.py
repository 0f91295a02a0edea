"""A value with its uncertainty, as it is stated to a person."""

from __future__ import annotations

import math

__all__ = ["decimals_of", "plus_minus"]


def plus_minus(value: float, expanded: float) -> str:
    """Value ± expanded uncertainty, to two figures of the uncertainty (GUM 7.2.6).

    >>> plus_minus(10.0412, 0.1034), plus_minus(0.37124, 0.00951), plus_minus(95.3, 12.0), plus_minus(0.5, 0.0)
    ('10.04 ± 0.10', '0.3712 ± 0.0095', '95 ± 12', '0.500 ± 0')
    """
    if expanded <= 0.0:
        return f"{value:.3f} ± 0"
    decimals = decimals_of(expanded)
    return f"{value:.{decimals}f} ± {expanded:.{decimals}f}"


def decimals_of(expanded: float) -> int:
    """Places after the point that show an uncertainty with two figures.

    >>> decimals_of(0.21), decimals_of(12.0), decimals_of(0.0)
    (2, 0, 3)
    """
    return max(0, 1 - math.floor(math.log10(float(f"{expanded:.1e}")))) if expanded > 0.0 else 3
