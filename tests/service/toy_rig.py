"""A toy rig with a truth of its own, and the reducer driven over its wire.

The toy knows where the crank and the hose really are and shares no formula with the host. Every SupplyOpen that it reads from the
wire is held against that truth; what is wrong with one goes into `wrong`.
"""

from __future__ import annotations

import copy
from collections import deque
from dataclasses import dataclass, field
from math import cos, pi, radians, sin, sqrt
from typing import Any, Literal

from borewire.codec import Decoder, encode
from borewire.messages import (
    Ack,
    AirEvent,
    AirState,
    BlockFlags,
    Cause,
    ChannelDescription,
    FaultCode,
    FaultEvent,
    Fitted,
    HoldEvent,
    HoldState,
    IdentifyRequest,
    Identity,
    IndexEvent,
    Quantity,
    RefusalReason,
    Refused,
    SampleBlock,
    Status,
    StatusRequest,
    StreamStart,
    SupplyOpen,
    SupplyShut,
    SupplyState,
    ToHost,
    VentClose,
    VentOpen,
    VentState,
)
from borewright.core.conditions import confirmations_needed
from borewright.core.engine import Engine
from borewright.core.readiness_table import State
from borewright.core.rig import RigCheck, RigSetup
from borewright.service import acts
from borewright.service.effects import AirRefused, Analyse, Effect, Say, Send
from borewright.service.guide import Step, next_step
from borewright.service.reducer import CheckGiven, Event, FromWire, HostTick, step
from borewright.service.state import BenchState
from borewright.session.session import Session

RATE_HZ = 200
BLOCK = 8
COUNTS = 1440
COUNT_DEG = 360.0 / COUNTS
SET_PA = 551_000.0
HIGHEST_PA = 620_600.0
UNIX_S = 1.8e9
ALWAYS_CONFIRMED = {"plugs_out", "engine_disabled", "crank_restrained", "hands_clear", "valves_free"}

FOUR = Engine("toy four", "four-stroke", (1, 3, 4, 2), (180.0,) * 4, 0.086, 0.086, 0.143, 55e-6)
THREE = Engine("toy three", "four-stroke", (1, 3, 2), (240.0,) * 3, 0.080, 0.078, 0.135, 48e-6)
TWO_STROKE = Engine("toy two-stroke", "two-stroke", (1,), (360.0,), 0.054, 0.054, 0.105, 12e-6)
FIRES_AT_DEG = {
    "toy four": {1: 0.0, 3: 180.0, 4: 360.0, 2: 540.0},
    "toy three": {1: 0.0, 3: 240.0, 2: 480.0},
    "toy two-stroke": {1: 0.0},
}

Hose = int | Literal["off", "capped", "orifice"]


@dataclass
class Confirmation:
    """What the people really confirmed, and how far the crank has been from there since."""

    points: frozenset[str]
    at_s: float
    crank_deg: float
    farthest_deg: float = 0.0


@dataclass
class Toy:
    """The rig and the device. Angles in the running direction from a compression TDC of cylinder 1, unwrapped; gauge pressures."""

    engine: Engine
    sign: int = 1
    hold_switch: bool = False
    index_at_deg: float = 77.25
    true_s: float = 0.0
    tick: int = 2**32 - 45_000_000
    boot_id: int = 11
    boots: int = 0
    streaming: bool = False
    plugged: bool = True
    sequence: int = 0
    sample_index: int = 0
    crank_deg: float = 30.0
    boot_deg: float = 0.0
    slipped: int = 0
    hose: Hose = "off"
    air: AirState = AirState.VENTED
    p_regulated: float = 0.0
    p_cylinder: float = 0.0
    cylinder_offset_pa: float = 900.0
    leak_m2: float = 0.4e-6
    check_valve: Literal["lets_in", "lets_out"] | None = None  # in the adapter
    p_behind: float = 0.0  # in the cylinder behind it
    opening: SupplyOpen | None = None
    opening_ends_s: float = 0.0
    over_id: int = 0
    hold: bool = False
    index_wire: bool = True
    index_number: int = 0
    noise: int = 1
    lose: int = 0
    rate_hz: int = RATE_HZ
    block_size: int = BLOCK
    out: bytearray = field(default_factory=bytearray)
    heard: Decoder = field(default_factory=lambda: Decoder("device"))
    # ---- truth about the past
    trail: deque[tuple[float, int]] = field(default_factory=deque)
    trouble_s: float = -1e9
    index_seen: bool = False
    index_deg: float | None = None
    slip_unseen: bool = False
    squeezed_deg: float = 0.0
    zeroed_pa: float = 0.0
    stop_in: bool = False
    confirmation: Confirmation | None = None
    opens: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    # ------------------------------------------------------------------ the device

    @property
    def counts(self) -> int:
        return self._counts_at(self.crank_deg)

    def _counts_at(self, crank_deg: float) -> int:
        return self.sign * round((crank_deg - self.boot_deg) / COUNT_DEG) + self.slipped

    def tell(self, message: ToHost) -> None:
        if self.plugged:
            self.out += encode(message)

    def take_out(self) -> bytes:
        out, self.out = bytes(self.out), bytearray()
        return out

    def set_air(self, air: AirState, cause: Cause) -> None:
        opening_id = self.opening.opening_id if self.opening is not None else self.over_id
        if air in (AirState.VENTED, AirState.CLOSED) and self.opening is not None:
            self.over_id, self.opening = self.opening.opening_id, None
        if air is not self.air:
            self.air = air
            self.tell(AirEvent(self.tick % 2**32, air, cause, opening_id, self.counts))

    def status(self, request_id: int) -> Status:
        supply = SupplyState.OPEN if self.air is AirState.OPEN else SupplyState.SHUT
        vent = VentState.OPEN if self.air is AirState.VENTED else VentState.CLOSED
        hold = (HoldState.PRESSED if self.hold else HoldState.RELEASED) if self.hold_switch else HoldState.NOT_FITTED
        opening_id = self.opening.opening_id if self.opening is not None else self.over_id
        return Status(
            request_id, self.tick % 2**32, self.boot_id, self.air, supply, vent, hold, int(self.streaming), opening_id, self.counts,
            0, 0, 0, 0, 0,
        )  # fmt: skip

    def hear(self, data: bytes, host: Host) -> None:
        for message in self.heard.feed(data):
            self.hear_message(message, host)

    def hear_message(self, message: Any, host: Host) -> None:
        """One message from the wire; an opening is judged whether the device gets it or not."""
        if isinstance(message, SupplyOpen):
            self.judge(message, host.state)
        if self.plugged:
            self._carry_out(message)

    def _carry_out(self, message: Any) -> None:
        tick = self.tick % 2**32
        match message:
            case IdentifyRequest(request_id):
                fitted = Fitted.SUPPLY_VALVE | Fitted.VENT_VALVE
                if self.hold_switch:
                    fitted |= Fitted.HOLD_SWITCH
                rate_hz, block_size = self.rate_hz, self.block_size
                self.tell(
                    Identity(
                        request_id, 1, 0, 0, "toy", "TOY-1", self.boot_id, 1_000_000, COUNTS, rate_hz, block_size, fitted, 2, 2
                    )
                )
                for channel, quantity in enumerate((Quantity.PRESSURE_REGULATED, Quantity.PRESSURE_CYLINDER)):
                    self.tell(ChannelDescription(request_id, channel, quantity, 0, 65535, 0.0, 5.0 / 65535, 5.0))
            case StreamStart():
                if not self.streaming:
                    self.streaming, self.sequence, self.sample_index = True, 0, 0
                self.tell(Ack(message.request_id, message.TYPE, tick))
            case StatusRequest(request_id):
                self.tell(self.status(request_id))
            case SupplyOpen():
                refusal = self._refuses(message)
                if refusal is not None:
                    self.tell(Refused(message.request_id, message.TYPE, refusal, tick))
                    return
                self.tell(Ack(message.request_id, message.TYPE, tick))
                self.opening, self.opening_ends_s = message, self.true_s + message.time_limit_ms / 1000
                self.set_air(AirState.OPEN, Cause.COMMAND_OPEN)
            case SupplyShut(_, isolate_ms):
                self.tell(Ack(message.request_id, message.TYPE, tick))
                if self.air is AirState.OPEN and isolate_ms:
                    self.opening_ends_s = self.true_s + isolate_ms / 1000
                    self.set_air(AirState.ISOLATED, Cause.COMMAND_SHUT)
                elif not isolate_ms:
                    self.set_air(AirState.VENTED, Cause.COMMAND_SHUT)
            case VentOpen():
                self.tell(Ack(message.request_id, message.TYPE, tick))
                self.set_air(AirState.VENTED, Cause.COMMAND_VENT)
            case VentClose():
                if self.air in (AirState.OPEN, AirState.ISOLATED):
                    self.tell(Refused(message.request_id, message.TYPE, RefusalReason.AIR_IS_ON, tick))
                else:
                    self.tell(Ack(message.request_id, message.TYPE, tick))
                    self.set_air(AirState.CLOSED, Cause.COMMAND_CLOSE)
            case _:
                pass

    def _refuses(self, message: SupplyOpen) -> RefusalReason | None:
        if not self.streaming:
            return RefusalReason.NOT_STREAMING
        if message.opening_id == self.over_id or (self.opening is not None and self.opening.opening_id != message.opening_id):
            return RefusalReason.OPENING_OVER
        if not message.window_low_count <= self.counts <= message.window_high_count:
            return RefusalReason.OUTSIDE_WINDOW
        if self.hold_switch and not self.hold:
            return RefusalReason.HOLD_NOT_PRESSED
        return None

    # ------------------------------------------------------------------ time

    def block(self, deg_per_s: float = 0.0) -> None:
        """One block of samples, with what happened in it told before it."""
        samples = bytearray()
        first_tick = self.tick % 2**32
        vent = BlockFlags.VENT_OPEN if self.air is AirState.VENTED else BlockFlags(0)
        supply = BlockFlags.SUPPLY_OPEN if self.air is AirState.OPEN else BlockFlags(0)
        for _ in range(self.block_size):
            self._sample(deg_per_s / self.rate_hz)
            samples += self.counts.to_bytes(4, "little", signed=True)
            for gauge_pa in (self.p_regulated, self.p_cylinder + self.cylinder_offset_pa):
                self.noise = self.noise * 48271 % 2147483647
                raw = round((0.1 + 0.8 * gauge_pa / 1e6) * 65535) + self.noise % 5 - 2
                samples += max(0, min(raw, 65535)).to_bytes(2, "little")
        if not self.streaming:
            return
        if self.lose:
            self.lose -= 1
            self.trouble_s = self.true_s
        else:
            self.tell(SampleBlock(self.sequence, first_tick, self.sample_index, vent | supply, self.block_size, 2, bytes(samples)))
        self.sequence = (self.sequence + 1) % 2**16
        self.sample_index = (self.sample_index + self.block_size) % 2**32

    def leap(self, seconds: float) -> None:
        """Time goes by in which nothing at all happens; no samples are taken, so that it costs nothing."""
        self.true_s += seconds
        self.tick += round(seconds * 1e6)
        self.trail.extend((self.true_s - 0.01 * (100 - number), self.counts) for number in range(100))

    def _sample(self, deg: float) -> None:
        before = self.crank_deg
        self.crank_deg += deg
        self.true_s += 1.0 / self.rate_hz
        self.tick += 1_000_000 // self.rate_hz
        self._pressures(before)
        passed = (before - self.index_at_deg) // 360.0 != (self.crank_deg - self.index_at_deg) // 360.0
        if passed and self.index_wire:
            at_deg = self.index_at_deg + 360.0 * round((self.crank_deg - self.index_at_deg) / 360.0)
            self.index_seen, self.index_deg, self.slip_unseen = True, at_deg, False
            self.index_number += 1
            self.tell(IndexEvent(self.tick % 2**32, self._counts_at(at_deg), self.index_number % 2**16))
        self.trail.append((self.true_s, self.counts))
        while len(self.trail) > 1 and self.trail[1][0] < self.true_s - 1.0:
            self.trail.popleft()
        if self.air is AirState.CLOSED:
            self.squeezed_deg += abs(deg)
        if self.confirmation is not None:
            away = abs(self.crank_deg - self.confirmation.crank_deg)
            self.confirmation.farthest_deg = max(self.confirmation.farthest_deg, away)
        if self.opening is None:
            return
        if not self.opening.window_low_count <= self.counts <= self.opening.window_high_count:
            self.set_air(AirState.VENTED, Cause.CRANK_LEFT_WINDOW)
        elif self.hold_switch and not self.hold:
            self.set_air(AirState.VENTED, Cause.HOLD_RELEASED)
        elif self.true_s > self.opening_ends_s:
            self.set_air(AirState.VENTED, Cause.TIME_LIMIT)

    # ------------------------------------------------------------------ the air, in a few lines of its own

    def after_compression_deg(self, cylinder: int, crank_deg: float | None = None) -> float:
        """Degrees after the nearest compression TDC of the cylinder, by the toy's own table."""
        cycle = 360.0 if self.engine.cycle == "two-stroke" else 720.0
        at = self.crank_deg if crank_deg is None else crank_deg
        return (at - FIRES_AT_DEG[self.engine.name][cylinder] + cycle / 2) % cycle - cycle / 2

    def _closed(self, cylinder: int) -> bool:
        half = 95.0 if self.engine.cycle == "two-stroke" else 125.0
        return abs(self.after_compression_deg(cylinder)) < half

    def _volume(self, cylinder: int, crank_deg: float) -> float:
        engine = self.engine
        angle = radians(crank_deg - FIRES_AT_DEG[engine.name][cylinder])
        r, rod = engine.stroke_m / 2, engine.rod_m
        travel = r + rod - r * cos(angle) - sqrt(rod**2 - (r * sin(angle)) ** 2)
        return engine.clearance_m3 + 50e-6 + pi / 4 * engine.bore_m**2 * travel

    def _pressures(self, before_deg: float) -> None:
        dt = 1.0 / self.rate_hz
        in_cylinder = self.hose if isinstance(self.hose, int) else None
        shares = {"off": 0.02, "capped": 1.0, "orifice": 0.62}
        held = in_cylinder is not None and self._closed(in_cylinder)
        share = (0.9 if held else 0.1) if in_cylinder is not None else shares[str(self.hose)]
        match self.air:
            case AirState.VENTED:
                self.p_regulated *= 0.85
                self.p_cylinder *= 0.85
            case AirState.OPEN:
                self.p_regulated += (SET_PA - self.p_regulated) * 0.3
                if in_cylinder is not None:
                    self._fill(in_cylinder, held, dt)
                else:
                    self.p_cylinder += (share * SET_PA - self.p_cylinder) * 0.1
            case AirState.ISOLATED if self.hose != "capped":
                self.p_cylinder *= 1.0 - dt / 0.6
                self.p_regulated += (self.p_cylinder - self.p_regulated) * 0.1
            case AirState.CLOSED if in_cylinder is not None and self.check_valve is None:
                self.p_cylinder = self._squeezed(in_cylinder, before_deg, self.p_cylinder)
            case AirState.CLOSED if in_cylinder is not None:
                self.p_behind = self._squeezed(in_cylinder, before_deg, self.p_behind)
                passes = min if self.check_valve == "lets_in" else max
                self.p_cylinder = passes(self.p_cylinder, self.p_behind)
            case _:
                pass

    def _squeezed(self, cylinder: int, before_deg: float, gauge_pa: float) -> float:
        """The pressure over the piston after the crank came from there: squeezed, then let out by a leak or by open valves."""
        if not self._closed(cylinder):
            return 0.0
        now = self._volume(cylinder, self.crank_deg)
        p_abs = (101_325.0 + gauge_pa) * (self._volume(cylinder, before_deg) / now) ** 1.15
        choke = max(0.0, min(1.0, (101_325.0 / p_abs - 0.528) / 0.472))
        return p_abs - 101_325.0 - (1.0 / self.rate_hz) * 290.0 * 0.685 * 0.4e-6 * p_abs / now * sqrt(1.0 - choke**2)

    def _fill(self, cylinder: int, held: bool, dt: float) -> None:
        """Air through a 0.81 mm² restrictor into the cylinder, and out of it through its leak, or through valves that are open."""
        leak_m2 = self.leak_m2 if held else 60e-6
        low, high = 101_325.0 + self.p_cylinder, 101_325.0 + self.p_regulated
        flow = self._through(8.1e-7, high, low) - self._through(leak_m2, low, 101_325.0)
        self.p_cylinder = max(0.0, self.p_cylinder + dt * 290.0**2 * 1.2 / self._volume(cylinder, self.crank_deg) * flow)

    @staticmethod
    def _through(area_m2: float, high_pa: float, low_pa: float) -> float:
        """Mass flow times √T, roughly: choked where one side has less than half of the other."""
        choke = max(0.0, min(1.0, (low_pa / max(high_pa, low_pa) - 0.528) / 0.472))
        return area_m2 * 0.685 * max(high_pa, low_pa) / 290.0 * sqrt(1.0 - choke**2)

    # ------------------------------------------------------------------ the judge

    def judge(self, message: SupplyOpen, state: BenchState) -> None:
        """Hold an opening that was read from the wire against the truth."""
        renewal = self.opening is not None and self.opening.opening_id == message.opening_id
        full = not renewal and state.readiness.state is State.FILLING
        kind = "renewal" if renewal else "full" if full else "puff"
        self.opens.append(f"{kind} {state.purpose.kind}")
        purpose = state.purpose
        why: list[str] = []
        if not self.streaming or not self.plugged:
            why.append("the link does not stream")
        if self.true_s - self.trouble_s < 0.5:
            why.append(f"samples were missing or a fault was told {self.true_s - self.trouble_s:.3f} s ago")
        if self.hold_switch and not self.hold:
            why.append("the hold switch is not pressed")
        if not renewal:
            counts = [count for _, count in self.trail]
            if max(counts) - min(counts) > 1 or self.trail[-1][0] - self.trail[0][0] < 0.97:
                why.append(f"the crank moved {max(counts) - min(counts)} counts in the last second")
        if purpose.kind == "test":
            why += self._wrong_for_test(purpose.cylinder, state)
        elif self.hose != purpose.outlet:
            why.append(f"the hose is at {self.hose}, not {purpose.outlet}")
        if self.stop_in:
            why.append("the piston stop is in")
        if kind == "puff":
            if self.p_cylinder > 7_000.0 or self.p_regulated > 7_000.0:
                why.append(f"not vented: {self.p_regulated:.0f} and {self.p_cylinder:.0f} Pa")
            if abs(self.cylinder_offset_pa - self.zeroed_pa) > 2_100.0:
                why.append("the zero is out of limits")
            if self.air is not AirState.VENTED:
                why.append(f"the device is {self.air.name}")
            why += self._wrong_with_people(10.0 * 60.0)
            if self.confirmation is not None and not self.confirmation.points >= ALWAYS_CONFIRMED:
                why.append("not all points were confirmed")
        elif kind == "full":  # puff and full are one opening: it may have begun in the last moment
            why += self._wrong_with_people(10.0 * 60.0 + 2.0)
        self.condemn(kind, why, state)

    def condemn(self, kind: str, why: list[str], state: BenchState) -> None:
        """Keep what was wrong with an opening."""
        if why:
            purpose = state.purpose
            what = f"cylinder {purpose.cylinder}" if purpose.kind == "test" else purpose.kind
            self.wrong.append(f"{kind} for {what}: {'; '.join(why)}")

    def _wrong_for_test(self, cylinder: int, state: BenchState) -> list[str]:
        why = []
        off = self.after_compression_deg(cylinder)
        if abs(off) > 1.5 + COUNT_DEG:
            why.append(f"the crank stands {off:.2f} degrees from compression TDC")
        why += self.false_ready(cylinder, state.holding_torque_nm or 0.0)
        if self.check_valve is not None:
            why.append("a check valve is in the adapter")
        if not self.index_seen:
            why.append("no index pulse since power-up")
        if self.slip_unseen:
            why.append("counts were lost")
        if self.index_deg is not None and abs(self.crank_deg - self.index_deg) > 360.0 * 1.5:
            why.append("the index pulse did not come for a turn and a half")
        if self.squeezed_deg < (415.0 if self.engine.cycle == "four-stroke" else 120.0):
            why.append(f"only {self.squeezed_deg:.0f} degrees were squeezed since power-up")
        return why

    def false_ready(self, cylinder: int, holding_torque_nm: float) -> list[str]:
        """Where the air would go now: another hole, another stroke, or a crank that it could turn."""
        why = []
        off = self.after_compression_deg(cylinder)
        r, ratio = self.engine.stroke_m / 2, self.engine.stroke_m / 2 / self.engine.rod_m
        least = min(90.0, max(0.0, abs(off) - COUNT_DEG))
        torque = HIGHEST_PA * pi / 4 * self.engine.bore_m**2 * r * sin(radians(least)) * (1.0 + ratio)
        if torque > 0.5 * holding_torque_nm * 1.03:
            why.append(f"gas could turn with {torque:.1f} N·m")
        if abs(off) > 90.0:
            why.append(f"the stroke is the wrong one, {off:.0f} degrees from compression TDC")
        if self.hose != cylinder:
            why.append(f"the hose is in {self.hose}")
        return why

    def _wrong_with_people(self, limit_s: float) -> list[str]:
        said = self.confirmation
        if said is None:
            return ["nobody has confirmed since hose or purpose changed"]
        why = []
        if self.true_s - said.at_s > limit_s:
            why.append(f"confirmed {self.true_s - said.at_s:.0f} s ago")
        if said.farthest_deg > 2.0 + COUNT_DEG:
            why.append(f"the crank was {said.farthest_deg:.1f} degrees away since it was confirmed")
        return why


class Host:
    """The reducer at one end of the toy's wire, and the person between them."""

    def __init__(self, toy: Toy) -> None:
        self.toy = toy
        self.decoder = Decoder("host")
        self.state = BenchState(
            Session(0.0), RigSetup(running_sign=1 if toy.sign > 0 else -1), engine=toy.engine, unix_minus_device_s=UNIX_S
        )
        self.sent: list[Any] = []
        self.refused: list[AirRefused] = []
        self.said: list[Say] = []
        self.captures: list[Analyse] = []
        self.by_the_puff = 0  # full openings with the hose shown so

    def copy(self) -> Host:
        """Another host and toy in the same state."""
        other = copy.copy(self)
        state, self.state = self.state, BenchState(Session(0.0))  # immutable: shared, not copied
        captures, self.captures = self.captures, []
        other.toy, other.decoder = copy.deepcopy(self.toy), copy.deepcopy(self.decoder)
        self.state, self.captures = state, captures
        other.sent, other.refused, other.said, other.captures = [], [], [], []
        other.by_the_puff = 0
        return other

    # ------------------------------------------------------------------ the loop

    def happen(self, event: Event) -> None:
        self.state, effects = step(self.state, event, self.toy.true_s)
        self._carry_out(effects)

    def _carry_out(self, effects: tuple[Effect, ...]) -> None:
        for effect in effects:
            match effect:
                case Send(message):
                    self.sent.append(message)
                    evidence = self.state.hose_evidence
                    full = isinstance(message, SupplyOpen) and self.state.readiness.state is State.FILLING
                    self.by_the_puff += full and evidence is not None and evidence.kind == "puff_read_back"
                    self._send(message)
                case AirRefused():
                    self.refused.append(effect)
                case Say():
                    self.said.append(effect)
                case Analyse():
                    self.captures.append(effect)
                case _:
                    pass

    def _send(self, message: Any) -> None:
        self.toy.hear(encode(message), self)

    def read(self) -> None:
        """One read of the port, and a tick of the clock."""
        data = self.toy.take_out()
        received = self.decoder.feed(data)
        if received:
            self.happen(FromWire(tuple(received)))
        self.happen(HostTick())

    def run(self, seconds: float, deg_per_s: float = 0.0, blocks_at_once: int = 1) -> None:
        """Let time pass, with the crank turning evenly."""
        for number in range(max(1, round(seconds * RATE_HZ / BLOCK))):
            self.toy.block(deg_per_s)
            if number % blocks_at_once == 0:
                self.read()
        self.read()

    def turn(self, deg: float, deg_per_s: float = 120.0) -> None:
        """Turn the crank by so much, in whole blocks."""
        blocks = max(1, round(abs(deg) / deg_per_s * RATE_HZ / BLOCK))
        self.run(blocks * BLOCK / RATE_HZ, deg / (blocks * BLOCK / RATE_HZ))

    def act(self, act: acts.Act) -> None:
        self.happen(act)

    @property
    def opens(self) -> list[SupplyOpen]:
        """The openings that were put onto the wire."""
        return [message for message in self.sent if isinstance(message, SupplyOpen)]

    # ------------------------------------------------------------------ the person

    def set_purpose(self, purpose: acts.Purpose) -> None:
        self.act(acts.SetPurpose(purpose))
        if self.state.purpose == purpose and self.state.confirmed is None:
            self.toy.confirmation = None

    def move_hose(self, real: Hose, said_cylinder: int | None = None) -> None:
        """Put the hose somewhere and say so; a cylinder may be said wrongly. Under pressure nobody undoes it."""
        if self.state.readiness.locked or self.toy.p_cylinder > 20_000.0:
            return
        self.toy.hose = real
        self.toy.confirmation = None
        if isinstance(real, int):
            self.act(acts.PlaceHose("cylinder", said_cylinder or real))
        else:
            self.act(acts.PlaceHose("orifice" if real == "orifice" else "capped"))

    def read_back(self) -> None:
        """The person looks where the hose really is."""
        if isinstance(self.toy.hose, int):
            self.act(acts.ReadBackHose(self.toy.hose))

    def confirm(self, points: frozenset[str] | None = None) -> None:
        needed = frozenset(confirmations_needed(self.toy.engine))
        said = needed if points is None else points
        self.act(acts.ConfirmPeople(said))
        self.toy.confirmation = Confirmation(said, self.toy.true_s, self.toy.crank_deg)

    def take_zero(self) -> None:
        self.act(acts.TakeZero())
        began = self.state.zero is not None
        self.run(2.2)
        if began and self.state.zero is None:
            law = self.state.transducers
            assert law is not None
            self.toy.zeroed_pa = law.cylinder.zero_pa

    def know_checks(self, *kinds: str) -> None:
        """Sealed and restrictor checks that passed, with the set pressure proven."""
        for kind in kinds:
            result: dict[str, float | int | str | bool] = {"area_m2": 8.1e-7} if kind == "restrictor" else {}
            check = RigCheck(kind, self.state.unix_s, "toy", "TOY-1", True, result)  # type: ignore[arg-type]
            self.happen(CheckGiven(check, SET_PA if kind == "sealed" else None))

    def find_tdc(self, cylinder: int) -> None:
        """Piston stop: contacts 35 degrees before and after TDC of the cylinder, twice; the stop out; over the index pulse."""
        self.act(acts.BeginTdc(cylinder))
        self.toy.stop_in = self.state.stop is not None
        tdc = FIRES_AT_DEG[self.toy.engine.name][cylinder]
        for _ in range(2):
            for side, at in (("before", -35.0), ("after", 35.0)):
                to_go = (tdc + at - self.toy.crank_deg) % 360.0
                self.turn(to_go if side == "before" else to_go - 360.0, 360.0)
                self.run(1.6)  # what is seen as the last second begins with the read before it
                self.act(acts.TakeContact("before" if side == "before" else "after"))
        self.toy.stop_in = False
        self.act(acts.ConfirmStopRemoved())
        self.turn(800.0, 360.0)

    def follow(self) -> Step:
        """Do what the guide says, honestly and exactly."""
        told = next_step(self.state)
        match told.key:
            case "place_hose":
                purpose = self.state.purpose
                outlet = purpose.outlet
                self.move_hose(purpose.cylinder if outlet == "cylinder" else outlet)
            case "read_back_hose":
                self.read_back()
            case "squeeze_turn":
                self.turn(240.0)
            case "look_for_check_valve":
                self.toy.hose, self.toy.check_valve, self.toy.confirmation = "off", None, None
                assert told.act is not None
                self.act(told.act)
            case "find_index" | "turn_to_tdc" | "turn_down":
                self.turn(told.turn_deg or 1.0, 240.0)
                self.run(0.2)
            case "restrain":
                self.act(acts.StateRestraint(60.0))
            case "confirm_people":
                self.confirm()
            case "give_air" if self.toy.hold_switch:
                self.press(False)
                self.run(0.04)
                self.press(True)
            case "begin_squeeze" | "confirm_fitting" | "give_air":
                assert told.act is not None
                self.act(told.act)
            case _:
                pass
        self.run(0.12)
        return told

    def put_right(self) -> None:
        """What a sensible person does when the program says that it cannot go on."""
        if not self.state.readiness.locked:
            self.toy.index_wire = True
            self.act(acts.StateRestraint(60.0))
            if abs(self.toy.cylinder_offset_pa - self.toy.zeroed_pa) > 1_900.0:
                self.take_zero()
            if self.state.crank is not None and self.state.crank.index_spacing_ok is not True:
                self.turn(800.0, 360.0)
            if self.state.tdc is None:
                self.find_tdc(self.toy.engine.firing_order[0])

    def press(self, pressed: bool) -> None:
        if self.toy.hold_switch and pressed != self.toy.hold:
            self.toy.hold = pressed
            self.toy.tell(HoldEvent(self.toy.tick % 2**32, HoldState.PRESSED if pressed else HoldState.RELEASED))

    def follow_until_ready(self, steps: int = 60) -> None:
        """Follow the guide until air could be given."""
        for _ in range(steps):
            if next_step(self.state).key == "give_air":
                return
            self.follow()
        raise AssertionError(f"never ready: {next_step(self.state)}, {[c for c in self.state.conditions if not c.met]}")

    # ------------------------------------------------------------------ faults

    def fault(self) -> None:
        self.toy.trouble_s = self.toy.true_s
        self.toy.tell(FaultEvent(self.toy.tick % 2**32, FaultCode.SUPPLY_VOLTAGE, 4))

    def restart(self, told: bool) -> None:
        """The device loses power and comes back vented, its counts at 0; its first word may be lost."""
        toy = self.toy
        toy.boots += 1
        toy.boot_id += 17
        toy.tick = toy.boots * 7_000_000
        toy.streaming = False
        toy.boot_deg, toy.slipped = toy.crank_deg, 0
        toy.air, toy.opening, toy.over_id = AirState.VENTED, None, 0
        toy.index_seen, toy.index_deg, toy.slip_unseen, toy.index_number = False, None, False, 0
        toy.squeezed_deg = 0.0
        toy.confirmation = None
        if told:
            toy.tell(toy.status(0))
