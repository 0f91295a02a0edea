"""From uncertain inputs to the uncertainty of a result: by first order (JCGM 100, the GUM) or by drawing (JCGM 101)."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from borewright.core.flow import checked
from borewright.core.uncertainty import LEVEL, Budget, Item, Kind

__all__ = ["Drawn", "Input", "monte_carlo", "propagate"]

Distribution = Literal["normal", "rectangular", "triangular", "t"]


@dataclass(frozen=True, slots=True)
class Input:
    """What a result is computed from: value, standard uncertainty, how that was found.

    distribution: what `monte_carlo` draws from. normal, rectangular, triangular: their standard deviation is `standard`. t:
    Student's t of `dof`, shifted and scaled by `standard`, as JCGM 101 6.4.9 asks for the mean of few readings. label: what the
    budget calls it; empty: the name of the argument.

    >>> round(Input.rectangular(20.0, 1.0).standard, 4)
    0.5774
    """

    value: float
    standard: float
    dof: float = math.inf
    kind: Kind = "B"
    distribution: Distribution = "normal"
    label: str = ""

    def __post_init__(self) -> None:
        checked("value", self.value)
        checked("standard", self.standard, least=0.0)
        if not self.dof > 0.0:
            raise ValueError("dof: must be above 0")
        if self.distribution not in ("normal", "rectangular", "triangular", "t"):
            raise ValueError("distribution: must be normal, rectangular, triangular or t")
        if self.distribution == "t" and math.isinf(self.dof):
            raise ValueError("dof: must be finite where the distribution is t")

    @classmethod
    def rectangular(cls, value: float, half_width: float, label: str = "") -> Input:
        """All of value ± half_width is equally likely: half_width/√3 (GUM 4.3.7)."""
        return cls(value, half_width / math.sqrt(3.0), distribution="rectangular", label=label)

    @classmethod
    def triangular(cls, value: float, half_width: float, label: str = "") -> Input:
        """The middle of value ± half_width is likeliest: half_width/√6 (GUM 4.3.9)."""
        return cls(value, half_width / math.sqrt(6.0), distribution="triangular", label=label)

    def draw(self, random: np.random.Generator, draws: int) -> npt.NDArray[np.float64]:
        """So many values of it."""
        if self.distribution == "rectangular":
            unit = random.uniform(-math.sqrt(3.0), math.sqrt(3.0), draws)
        elif self.distribution == "triangular":
            unit = random.triangular(-math.sqrt(6.0), 0.0, math.sqrt(6.0), draws)
        elif self.distribution == "t":
            unit = random.standard_t(self.dof, draws)
        else:
            unit = random.standard_normal(draws)
        return np.asarray(self.value + self.standard * unit)


Function = Callable[..., Any]
Correlations = Mapping[tuple[str, str], float]


def propagate(
    function: Function, inputs: Mapping[str, Input], quantity: str, unit: str, correlations: Correlations | None = None
) -> Budget:
    """The budget of function(**values), first order (GUM 5.1, 5.2).

    inputs: by the name of the argument. Sensitivities by central differences over 0.01 of the standard uncertainty (at least 1e-6
    of the value), two steps extrapolated: exact to fourth order, so right where the function is smooth over that step; where it
    bends over the whole uncertainty use `monte_carlo`. correlations: r from −1 to 1 by pair of names; pairs not named are
    independent. Inputs that correlate cannot be told apart in a budget, and Welch and Satterthwaite do not hold for them: those
    that hang together make one item, named after all of them, with the fewest degrees of freedom among those that contribute.
    Raises ValueError naming the argument, also for correlations that cannot all be.

    >>> area = propagate(lambda bore, scale: scale * bore**2, {"bore": Input(2.0, 0.01), "scale": Input(3.0, 0.03)}, "area", "mm²")
    >>> area.value, [(item.name, round(item.contribution, 4)) for item in area.items]
    (12.0, [('bore', 0.12), ('scale', 0.12)])
    >>> same_rule = {("bore", "scale"): -1.0}
    >>> propagate(lambda bore, scale: scale * bore, {"bore": Input(2.0, 0.01), "scale": Input(2.0, 0.01)}, "area", "mm²",
    ...           same_rule).items
    (Item(name='bore with scale', contribution=0.0, dof=inf, kind='B'),)
    """
    values = {name: given.value for name, given in inputs.items()}
    signed = {name: _sensitivity(function, values, name, given) * given.standard for name, given in inputs.items()}
    items = tuple(
        _item(group, inputs, np.array([signed[name] for name in group]), matrix)
        for group, matrix in _groups(inputs, correlations or {})
    )
    return Budget(quantity, unit, float(function(**values)), items)


def _sensitivity(function: Function, values: Mapping[str, float], name: str, given: Input) -> float:
    """∂function/∂name at the values."""
    if given.standard == 0.0:
        return 0.0
    step = max(0.01 * given.standard, 1e-6 * abs(given.value))

    def slope(h: float) -> float:
        above, below = given.value + h, given.value - h
        return (float(function(**{**values, name: above})) - float(function(**{**values, name: below}))) / (above - below)

    return (4.0 * slope(step / 2.0) - slope(step)) / 3.0


def _groups(inputs: Mapping[str, Input], correlations: Correlations) -> list[tuple[list[str], npt.NDArray[np.float64]]]:
    """Names that hang together by correlation, each group with its correlation matrix."""
    for (one, other), r in correlations.items():
        if one not in inputs or other not in inputs or one == other:
            raise ValueError(f"correlations: {one!r} with {other!r} is no pair of two inputs")
        if not -1.0 <= r <= 1.0:
            raise ValueError("correlations: must be from −1 to 1")
    tied = [{one, other} for (one, other), r in correlations.items() if r != 0.0]
    groups: list[tuple[list[str], npt.NDArray[np.float64]]] = []
    left = list(inputs)
    while left:
        together = {left[0]}
        while grown := {name for pair in tied if pair & together for name in pair} - together:
            together |= grown
        group = [name for name in left if name in together]
        left = [name for name in left if name not in together]
        matrix = np.eye(len(group))
        for i, one in enumerate(group):
            for j, other in enumerate(group[:i]):
                matrix[i, j] = matrix[j, i] = correlations.get((one, other), correlations.get((other, one), 0.0))
        if float(np.min(np.linalg.eigvalsh(matrix))) < -1e-9:
            raise ValueError(f"correlations: those of {', '.join(group)} cannot all be")
        groups.append((group, matrix))
    return groups


def _item(
    group: Sequence[str], inputs: Mapping[str, Input], signed: npt.NDArray[np.float64], matrix: npt.NDArray[np.float64]
) -> Item:
    contribution = math.sqrt(max(float(signed @ matrix @ signed), 0.0))
    counted = [inputs[name] for name, part in zip(group, signed, strict=True) if part != 0.0]
    dof = min((given.dof for given in counted), default=math.inf)
    kind: Kind = "A" if all(inputs[name].kind == "A" for name in group) else "B"
    return Item(" with ".join(inputs[name].label or name for name in group), contribution, dof, kind)


@dataclass(frozen=True, slots=True)
class Drawn:
    """What `monte_carlo` gives: mean, standard deviation, and two intervals of one level, each (low, high).

    symmetric: as much lies under it as over it. shortest: no other interval of the level is shorter.
    """

    mean: float
    standard: float
    symmetric: tuple[float, float]
    shortest: tuple[float, float]


def monte_carlo(function: Function, inputs: Mapping[str, Input], draws: int, seed: int, level: float = LEVEL) -> Drawn:
    """Propagation of distributions (JCGM 101): function(**arrays) over independent draws of all inputs.

    function: takes arrays of shape (draws,) by name and gives one. draws: at least 1000; JCGM 101 7.2 wants 1e4/(1 − level). The
    same seed gives the same draws. Raises ValueError naming the argument.

    >>> drawn = monte_carlo(lambda a, b: a + b, {"a": Input.rectangular(1.0, 1.0), "b": Input.rectangular(2.0, 1.0)}, 100_000, 1)
    >>> round(drawn.mean, 1), round(drawn.standard, 1), [round(bound, 1) for bound in drawn.symmetric]
    (3.0, 0.8, [1.4, 4.6])
    """
    if draws < 1000:
        raise ValueError("draws: must be at least 1000")
    if not 0.0 < level < 1.0:
        raise ValueError("level: must be above 0 and under 1")
    random = np.random.default_rng(seed)
    found = np.asarray(function(**{name: given.draw(random, draws) for name, given in inputs.items()}), dtype=np.float64)
    if found.shape != (draws,) or not np.all(np.isfinite(found)):
        raise ValueError("function: must give a finite number for each draw")
    found = np.sort(found)
    inside = min(math.ceil(level * draws), draws - 1)
    widths = found[inside:] - found[: draws - inside]
    low, middle = int(np.argmin(widths)), (draws - inside - 1) // 2
    return Drawn(
        float(np.mean(found)),
        float(np.std(found, ddof=1)),
        (float(found[middle]), float(found[middle + inside])),
        (float(found[low]), float(found[low + inside])),
    )
