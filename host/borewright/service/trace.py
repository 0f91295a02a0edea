"""The two pressures for drawing: their lowest and highest in each bin of time, kept as samples arrive."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["TraceView"]


@dataclass(frozen=True, slots=True, eq=False)
class TraceView:
    """The lowest and highest pressure in each bin of device time, oldest first; all arrays as long as each other, read-only.

    t_s: middles of the bins. A bin of NaN pressures stands where samples are missing. newest_s: device time of the newest sample,
    0 before the first. The last 60 s are in bins of 50 ms, what is older in bins of 0.5 s, up to 600 s.
    """

    t_s: npt.NDArray[np.float64]
    regulated_low_pa: npt.NDArray[np.float32]
    regulated_high_pa: npt.NDArray[np.float32]
    cylinder_low_pa: npt.NDArray[np.float32]
    cylinder_high_pa: npt.NDArray[np.float32]
    newest_s: float

    def span(self, seconds: float) -> TraceView:
        """The last so many seconds, without copying."""
        part = slice(int(np.searchsorted(self.t_s, self.newest_s - seconds)), None)
        return TraceView(
            self.t_s[part],
            self.regulated_low_pa[part],
            self.regulated_high_pa[part],
            self.cylinder_low_pa[part],
            self.cylinder_high_pa[part],
            self.newest_s,
        )
