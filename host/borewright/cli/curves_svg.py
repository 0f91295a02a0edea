"""The decays of two jobs over each other as a vector picture: a panel for each cylinder, before dashed, after solid."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

    from borewright.service.comparing import Curve, JobComparison
    from borewright.service.shown_units import ShownUnits
    from borewright.store import Store

__all__ = ["Overlaid", "curves_svg", "overlaid", "save_svg"]

_WIDE, _HIGH, _LEFT, _TOP, _GAP, _ACROSS = 300, 190, 52, 46, 62, 2
_STROKES = {"before": ("#b35900", "5 3"), "after": ("#0b4f8a", "none")}  # told apart by their dashes too


@dataclass(frozen=True, slots=True)
class Overlaid:
    """The latest test of a cylinder in each job; None where it has no curve."""

    cylinder: int
    before: Curve | None
    after: Curve | None

    def as_dict(self) -> dict[str, Any]:
        """For JSON."""
        from borewright.core.plain import to_plain

        return {"cylinder": self.cylinder, "before": to_plain(self.before), "after": to_plain(self.after)}


def overlaid(store: Store, found: JobComparison) -> list[Overlaid]:
    """The curves of the latest tests of all cylinders that have one."""
    from borewright.service.comparing import decay_curves

    drawn = [
        Overlaid(
            one.cylinder,
            *(decay_curves(store, tests[-1]) if tests else None for tests in (one.tests_before, one.tests_after)),
        )
        for one in found.cylinders
    ]
    return [one for one in drawn if one.before is not None or one.after is not None]


def save_svg(picture: str, path: Path, *, replace: bool) -> None:
    """Write it, whole or not at all. Raises UseError where a file is there, StoreError where it cannot be written."""
    from borewright.store.job_file import save_new

    save_new(path, picture.encode(), replace=replace)


def curves_svg(found: JobComparison, curves: list[Overlaid], units: ShownUnits) -> str:
    """The picture: cylinder pressure over seconds from the shut on."""
    from borewright.units import in_unit

    unit = units.unit("pressure_gauge", "psi")
    decays = {(one.cylinder, side): _decay(getattr(one, side)) for one in curves for side in _STROKES}
    points = [point for decay in decays.values() for point in decay]
    longest_s = max((t_s for t_s, _ in points), default=0.0) or 1.0
    highest = max((in_unit(pa, "pressure_gauge", unit) for _, pa in points), default=0.0) or 1.0
    rows = (len(curves) + _ACROSS - 1) // _ACROSS
    width, height = _ACROSS * (_WIDE + _GAP) + _LEFT, _TOP + rows * (_HIGH + _GAP)
    before, after = found.before, found.after
    title = f"{before.engine_name}: {before.name}, {before.stage} (dashed); {after.name}, {after.stage} (solid)"
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" font-family="sans-serif" font-size="12">',
        f'<rect width="{width}" height="{height}" fill="white"/>',
        f'<text x="{_LEFT}" y="20">{escape(title)}</text>',
    ]
    for place, one in enumerate(curves):
        x, y = _LEFT + place % _ACROSS * (_WIDE + _GAP), _TOP + place // _ACROSS * (_HIGH + _GAP)
        lines += [
            f'<rect x="{x}" y="{y}" width="{_WIDE}" height="{_HIGH}" fill="none" stroke="#444"/>',
            f'<text x="{x + _WIDE - 6}" y="{y + 16}" text-anchor="end">cylinder {one.cylinder}</text>',
            f'<text x="{x - 6}" y="{y + 10}" text-anchor="end">{highest:.3g}</text>',
            f'<text x="{x - 6}" y="{y + _HIGH}" text-anchor="end">0</text>',
            f'<text x="{x - 6}" y="{y + _HIGH / 2:.0f}" text-anchor="end">{escape(unit)}</text>',
            f'<text x="{x}" y="{y + _HIGH + 16}">0</text>',
            f'<text x="{x + _WIDE}" y="{y + _HIGH + 16}" text-anchor="end">{longest_s:.3g} s after the shut</text>',
        ]
        for side, (colour, dashes) in _STROKES.items():
            path = " ".join(
                f"{x + _WIDE * t_s / longest_s:.1f},{y + _HIGH * (1.0 - in_unit(pa, 'pressure_gauge', unit) / highest):.1f}"
                for t_s, pa in decays[one.cylinder, side]
            )
            if path:
                style = f'fill="none" stroke="{colour}" stroke-width="1.6" stroke-dasharray="{dashes}"'
                lines.append(f'<polyline class="{side}" points="{path}" {style}/>')
    return "\n".join([*lines, "</svg>"]) + "\n"


def _decay(curve: Curve | None) -> list[tuple[float, float]]:
    """Seconds from the shut and the cylinder's gauge pressure, not under nothing."""
    if curve is None or curve.shut_s is None:
        return []
    pairs = zip(curve.t_s, curve.p_cylinder_gauge_pa, strict=True)
    return [(t_s - curve.shut_s, max(pa, 0.0)) for t_s, pa in pairs if t_s >= curve.shut_s]
