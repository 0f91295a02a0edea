"""The decays of two jobs over each other as a vector picture: a panel for each cylinder, before dashed, after solid."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from borewright.core.plain_text import printable

if TYPE_CHECKING:
    from pathlib import Path

    from borewright.service.comparing import JobComparison
    from borewright.service.overlaying import Overlaid
    from borewright.service.shown_units import ShownUnits

__all__ = ["curves_svg", "save_svg"]

_WIDE, _HIGH, _LEFT, _TOP, _GAP, _ACROSS = 300, 190, 52, 46, 62, 2
_STROKES = {"before": ("#b35900", "5 3"), "after": ("#0b4f8a", "none")}  # told apart by their dashes too


def save_svg(picture: str, path: Path, *, replace: bool) -> None:
    """Write it, whole or not at all. Raises UseError where a file is there, StoreError where it cannot be written."""
    from borewright.store.job_file import save_new

    save_new(path, picture.encode(), replace=replace)


def curves_svg(found: JobComparison, curves: list[Overlaid], units: ShownUnits) -> str:
    """The picture: cylinder pressure over seconds from the shut on."""
    from borewright.service.overlaying import decay_points
    from borewright.units import in_unit

    unit = units.unit("pressure_gauge", "psi")
    decays = {(one.cylinder, side): decay_points(getattr(one, side)) for one in curves for side in _STROKES}
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
        f'<text x="{_LEFT}" y="20">{escape(printable(title))}</text>',
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
