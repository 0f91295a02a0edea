"""The real host at the firmware on the PC: a gated test of one cylinder with other errors and noise, and no bit left to chance."""

from __future__ import annotations

from itertools import cycle
from pathlib import Path

import pytest
from avr_rig.child import Child
from avr_rig.rig import FirmwareRig
from boresim.scenario import load_scenario
from borewire.codec import Decoder, encode
from borewire.messages import AirEvent, Cause, HostAlive, IdentifyRequest, StreamStart, SupplyOpen, ToDevice, VentClose
from borewright.simrig.whole_job import check_rig

from .workshop import Workshop

MOST_OFF_PERCENT = 0.3  # points of leakage, by issue 6: a converter of ten bits with oversampling


def test_leakage_by_the_firmware_on_the_pc(pc_program: Path, tmp_path: Path) -> None:
    with Child(pc_program) as child:
        shop = Workshop(child, tmp_path, seed=77)
        check_rig(shop.person, lambda _step: None, 4)
        result = shop.test(4).analysed.result
        assert result is not None
        assert abs(result.leakage_percent - shop.truth[4].leakage_percent) < MOST_OFF_PERCENT
        assert shop.lost_blocks() == 0
        assert shop.rig.electronics.count_at(shop.rig.plant.crank_deg) == shop.latest_status().crank_count


@pytest.mark.parametrize("slices_s", [(0.032,), (0.0137, 0.0004, 0.21)])
def test_the_same_seed_gives_the_same_octets_however_time_is_cut(slices_s: tuple[float, ...], pc_program: Path) -> None:
    wanted, got = a_talk(pc_program, (0.05,)), a_talk(pc_program, slices_s)
    causes = [message.cause for message in Decoder("host").feed(wanted) if isinstance(message, AirEvent)]
    assert causes == [Cause.POWER_UP, Cause.COMMAND_CLOSE, Cause.COMMAND_OPEN, Cause.CRANK_LEFT_WINDOW]
    assert got == wanted


def a_talk(program: Path, slices_s: tuple[float, ...]) -> bytes:
    """A host that speaks and a person who acts, always at the same moments: squeezed air, then air on until the crank runs away."""
    said = bytearray()
    with Child(program) as child:
        rig = FirmwareRig(load_scenario("hillclimb-after"), child)

        def pass_s(seconds: float) -> None:
            left_s = seconds
            for slice_s in cycle(slices_s):
                if left_s <= 1e-9:
                    break
                rig.advance(min(slice_s, left_s))
                left_s -= slice_s
            said.extend(rig.transmit())

        def tell(*messages: ToDevice) -> None:
            rig.receive(b"".join(map(encode, messages)))
            for _ in range(12):
                pass_s(0.2)
                rig.receive(encode(HostAlive()))

        pass_s(0.1)
        tell(IdentifyRequest(1, 1, 0), StreamStart(2, 1000, 8))
        rig.operator.do("hose 1")
        tell()
        rig.operator.do("turn +524 rpm 60")  # from 211° to 15° after compression TDC, where the air turns it on
        tell(VentClose(3, 60_000, 4000))
        rig.press_hold(True)
        tell()
        here = rig.electronics.count_at(rig.plant.crank_deg)
        tell(SupplyOpen(4, 1, 10_000, here - 100, here + 100, 4000, 4000))
    return bytes(said)
