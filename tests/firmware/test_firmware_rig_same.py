"""No octet of a rig with the firmware depends on chance, nor on how its time is cut."""

from __future__ import annotations

from itertools import cycle
from pathlib import Path

import pytest
from avr_rig.child import Child
from avr_rig.rig import FirmwareRig
from boresim.scenario import load_scenario
from borewire.codec import Decoder, encode
from borewire.messages import AirEvent, Cause, HostAlive, IdentifyRequest, StreamStart, SupplyOpen, ToDevice, VentClose


@pytest.mark.parametrize("program", ["on the PC", "in the emulator"])
def test_the_same_seed_gives_the_same_octets_however_time_is_cut(
    program: str, pc_program: Path, bench: Path, avr_programs: dict[int, Path]
) -> None:
    words = (pc_program,) if program == "on the PC" else (bench, avr_programs[500_000])
    wanted, got = a_talk(words, (0.05,)), a_talk(words, (0.0137, 0.0004, 0.21))
    causes = [message.cause for message in Decoder("host").feed(wanted) if isinstance(message, AirEvent)]
    assert causes == [Cause.POWER_UP, Cause.COMMAND_CLOSE, Cause.COMMAND_OPEN, Cause.CRANK_LEFT_WINDOW]
    assert got == wanted


def a_talk(program: tuple[Path, ...], slices_s: tuple[float, ...]) -> bytes:
    """A host that speaks and a person who acts, always at the same moments: squeezed air, then air on until the crank runs away."""
    said = bytearray()
    with Child(*program) as child:
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
