"""Everything that turns the raw words of a capture into its result: taken from the bench for a live capture, kept with it in the
record, read back from there to compute the result anew."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from borewright.core.calibration import instrument_of
from borewright.core.instrument import Instrument
from borewright.core.plain import from_plain, to_plain
from borewright.core.restrictor import Restrictor
from borewright.core.rig import ChannelLaw
from borewright.errors import UseError
from borewright.service.acts import Purpose
from borewright.service.conditions_of_air import AirConditions
from borewright.service.state import BenchState
from borewright.service.transducers import Transducers, readable

__all__ = ["Laws", "laws_from_record", "laws_of"]


@dataclass(frozen=True, slots=True)
class Laws:
    """The laws of one capture.

    regulated_range_gauge_pa: where p_regulated has to lie with air on. t_engine_k: of the engine in a test, of the room's air in a
    check. restrictor: as it was last checked. instrument: the same with every uncertainty; assumed: marks that say what of it
    nobody measured.
    """

    regulated: ChannelLaw
    cylinder: ChannelLaw
    regulated_channel: int
    cylinder_channel: int
    restrictor: Restrictor
    regulated_range_gauge_pa: tuple[float, float]
    p_ambient_abs_pa: float
    t_supply_k: float
    t_engine_k: float
    instrument: Instrument
    assumed: tuple[str, ...]

    @property
    def by_name(self) -> dict[str, ChannelLaw]:
        """The laws of both channels by name."""
        return {"regulated": self.regulated, "cylinder": self.cylinder}

    def as_dict(self) -> dict[str, Any]:
        """As the record keeps it."""
        return {
            "regulated": to_plain(self.regulated),
            "cylinder": to_plain(self.cylinder),
            "regulated_channel": self.regulated_channel,
            "cylinder_channel": self.cylinder_channel,
            "restrictor_area_m2": self.restrictor.area_m2,
            "restrictor": to_plain(self.restrictor),
            "regulated_range_gauge_pa": list(self.regulated_range_gauge_pa),
            "p_ambient_abs_pa": self.p_ambient_abs_pa,
            "t_supply_k": self.t_supply_k,
            "t_engine_k": self.t_engine_k,
            "instrument": to_plain(self.instrument),
            "assumed": list(self.assumed),
        }


def laws_of(state: BenchState, transducers: Transducers, purpose: Purpose, ambient: AirConditions) -> Laws:
    """The laws that hold now for a capture with this purpose; a check that ties the transducers is read by them untied."""
    if purpose.ties:
        transducers = transducers.untied(state.checks)
    t_engine_k = ambient.t_engine_k if purpose.kind == "test" else ambient.t_supply_k
    step_pa = abs(transducers.cylinder.pa_per_raw)
    instrument, assumed = instrument_of(
        state.setup,
        readable(state.checks),
        ambient.p_ambient_abs_pa,
        ambient.t_supply_k,
        t_engine_k,
        now_unix_s=state.unix_s,
        u_p_ambient_pa=ambient.u_p_ambient_pa,
        u_t_supply_k=ambient.u_t_supply_k,
        u_t_cylinder_k=ambient.u_t_engine_k,
        resolution_pa=step_pa,
        converter_pa=state.setup.converter_nonlinearity_lsb * step_pa,
    )
    return Laws(
        transducers.regulated,
        transducers.cylinder,
        transducers.regulated_channel,
        transducers.cylinder_channel,
        state.restrictor,
        state.regulated_range_gauge_pa,
        ambient.p_ambient_abs_pa,
        ambient.t_supply_k,
        t_engine_k,
        instrument,
        (*ambient.assumed, *assumed),
    )


def laws_from_record(kept: Mapping[str, Any]) -> Laws:
    """The laws that a capture was recorded with. Raises UseError where an older program kept less than is needed."""
    try:
        return Laws(
            from_plain(ChannelLaw, kept["regulated"]),
            from_plain(ChannelLaw, kept["cylinder"]),
            int(kept["regulated_channel"]),
            int(kept["cylinder_channel"]),
            from_plain(Restrictor, kept["restrictor"]),
            (float(kept["regulated_range_gauge_pa"][0]), float(kept["regulated_range_gauge_pa"][1])),
            float(kept["p_ambient_abs_pa"]),
            float(kept["t_supply_k"]),
            float(kept["t_engine_k"]),
            from_plain(Instrument, kept["instrument"]),
            tuple(str(mark) for mark in kept["assumed"]),
        )
    except (KeyError, ValueError, TypeError) as error:
        raise UseError(
            f"the record lacks what this test was read by ({error}): an older program made it; its numbers stay as they are"
        ) from None
