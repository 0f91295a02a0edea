"""Sets of limits: bands of leakage with their source, the usual spread between cylinders, and the procedure they belong to.

A set is data (TOML files, read outside core). Leakage and its limits are percent of the regulated gauge pressure.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import inf, isfinite, pi
from typing import Literal

__all__ = ["Band", "Circumstances", "HeardAt", "LimitSet", "Procedure", "RestrictorOfBore", "SourceKind"]

_PA_PER_PSI = 6894.757293168
SourceKind = Literal["common practice", "published", "own"]


@dataclass(frozen=True, slots=True)
class Band:
    """A stretch of leakage up to and with up_to_percent; its name says what to do, its words why. inf: no upper end."""

    name: str
    words: str
    up_to_percent: float = inf


@dataclass(frozen=True, slots=True)
class HeardAt:
    """Air was heard at another cylinder; its valves that stand open now, None where nobody knows."""

    cylinder: int
    open_valves: tuple[str, ...] | None = None


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What is known of a test beside its leakage; None where it is not known.

    p_regulated_gauge_pa: with air flowing, as read in the steady part. restrictor_area_m2: of the ideal nozzle that passes the
    same. bore_m: of the cylinder. t_engine_k: as stated, None where it was only assumed. decompression: what the engine has.
    trapped_volume_m3 with its expanded uncertainty, hose_volume_m3 (with the adapter), clearance_m3. squeeze_held: after a squeeze
    the pressure stayed up in the hose. heard_at: where else air was heard.
    """

    p_regulated_gauge_pa: float | None = None
    restrictor_area_m2: float | None = None
    bore_m: float | None = None
    t_engine_k: float | None = None
    decompression: Literal["none", "manual", "automatic"] = "none"
    trapped_volume_m3: float | None = None
    expanded_trapped_volume_m3: float = 0.0
    hose_volume_m3: float | None = None
    clearance_m3: float | None = None
    squeeze_held: bool = False
    heard_at: tuple[HeardAt, ...] = ()


@dataclass(frozen=True, slots=True)
class RestrictorOfBore:
    """The restrictor that a procedure wants for cylinder bores under bore_under_m (inf: for all that are left)."""

    restrictor_bore_m: float
    bore_under_m: float = inf


@dataclass(frozen=True, slots=True)
class Procedure:
    """The procedure that a set of limits belongs to. Only a test that was made like this may bear its name.

    otherwise: what a result is called that was not. restrictors: by rising bore. area_share: lowest and highest share of the
    restrictor's geometric area that its effective area may have. assumed: what can be known by no measurement of ours.
    """

    name: str
    otherwise: str
    p_regulated_gauge_pa: float | None = None
    p_tolerance_pa: float = 0.0
    restrictors: tuple[RestrictorOfBore, ...] = ()
    area_share: tuple[float, float] = (0.8, 1.02)
    t_engine_least_k: float | None = None
    assumed: tuple[str, ...] = ()

    def departures(self, found: Circumstances) -> tuple[str, ...]:
        """Why a test is not this procedure, each in words; empty where all that can be known matches.

        >>> small = (RestrictorOfBore(0.001016),)
        >>> tip = Procedure("the tip's", "not the tip's", 551_580.6, 6_895.0, small, t_engine_least_k=333.15)
        >>> tip.departures(Circumstances(551_000.0, 7.9e-7, 0.1, 350.0))
        ()
        >>> tip.departures(Circumstances(551_000.0, 1.6e-6, 0.1, 293.15))
        ('the restrictor passes 197 % of a bore of 1.016 mm, not 80 to 102 %', 'the engine was at 20 °C, not hot (60 °C or more)')
        """
        return tuple(said for said in (self._pressure(found), self._restrictor(found), self._heat(found)) if said)

    def _pressure(self, found: Circumstances) -> str:
        wanted, read = self.p_regulated_gauge_pa, found.p_regulated_gauge_pa
        if wanted is None:
            return ""
        if read is None:
            return "the regulated pressure under flow is not known"
        if abs(read - wanted) <= self.p_tolerance_pa:
            return ""
        wide = self.p_tolerance_pa
        asked = f"{wanted / 1e3:.1f} ± {wide / 1e3:.1f} kPa ({wanted / _PA_PER_PSI:.1f} ± {wide / _PA_PER_PSI:.1f} psi)"
        return f"the regulated pressure under flow was {read / 1e3:.1f} kPa ({read / _PA_PER_PSI:.1f} psi), not {asked}"

    def _restrictor(self, found: Circumstances) -> str:
        if not self.restrictors:
            return ""
        if found.bore_m is None or found.restrictor_area_m2 is None:
            return "bore or restrictor is not known"
        wanted = next((one for one in self.restrictors if found.bore_m < one.bore_under_m), None)
        if wanted is None:
            return f"it names no restrictor for a bore of {found.bore_m * 1e3:.1f} mm"
        share = found.restrictor_area_m2 / (pi / 4.0 * wanted.restrictor_bore_m**2)
        low, high = self.area_share
        if low <= share <= high:
            return ""
        bore = f"a bore of {wanted.restrictor_bore_m * 1e3:.3f} mm"
        return f"the restrictor passes {share:.0%} of {bore}, not {low * 100:.0f} to {high:.0%}".replace("%", " %")

    def _heat(self, found: Circumstances) -> str:
        least_k = self.t_engine_least_k
        if least_k is None:
            return ""
        if found.t_engine_k is None:
            return "the engine's temperature was not stated"
        if found.t_engine_k >= least_k:
            return ""
        return f"the engine was at {found.t_engine_k - 273.15:.0f} °C, not hot ({least_k - 273.15:.0f} °C or more)"


@dataclass(frozen=True, slots=True)
class LimitSet:
    """A named set of limits. bands rise, the last one has no upper end; spread_percent: (about even up to, usual up to).

    caution goes with every judgement by this set. Raises ValueError that names what cannot be.

    >>> shop = LimitSet("shop", "own", "our bench", (Band("sell it", "tight", 12.0), Band("strip it", "leaks")))
    >>> shop.band_of(12.0).name, shop.band_of(12.1).name
    ('sell it', 'strip it')
    """

    name: str
    kind: SourceKind
    source: str
    bands: tuple[Band, ...]
    spread_percent: tuple[float, float] | None = None
    procedure: Procedure | None = None
    caution: str = ""

    def __post_init__(self) -> None:
        ends = [band.up_to_percent for band in self.bands]
        if not ends or ends[-1] != inf:
            raise ValueError("bands: the last one must have no upper end")
        if not all(isfinite(end) and 0.0 < end < 100.0 for end in ends[:-1]):
            raise ValueError("bands: each end must lie between 0 and 100 %")
        if any(high <= low for low, high in pairwise(ends)):
            raise ValueError("bands: their ends must rise")
        if len({band.name for band in self.bands}) != len(self.bands):
            raise ValueError("bands: each must have a name of its own")
        if self.spread_percent is not None and not 0.0 < self.spread_percent[0] <= self.spread_percent[1] <= 100.0:
            raise ValueError("spread_percent: must be two rising numbers over 0 and up to 100")

    def band_of(self, leakage_percent: float) -> Band:
        """The band of a leakage; a limit belongs to the band under it. Raises ValueError for what is not finite."""
        if not isfinite(leakage_percent):
            raise ValueError("leakage_percent: must be finite")
        return next(band for band in self.bands if leakage_percent <= band.up_to_percent)
