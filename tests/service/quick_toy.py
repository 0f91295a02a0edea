"""The toy rig and its host for very many short sequences: no octets, few samples, a standing crank at no cost, cheap copies.

The reducer is the real one; only what lies between it and the toy is left out, and what the wire may do to messages is put there.
"""

from __future__ import annotations

import copy
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from math import ceil
from typing import Any

import numpy as np
from borewire.messages import AirState, BlockFlags, Cause, SampleBlock, ToHost
from borewright.core.readiness_table import State
from borewright.service import acts
from borewright.service.reducer import FromWire, HostTick
from borewright.service.state import BenchState

from .toy_rig import COUNT_DEG, Hose, Host, Toy

__all__ = ["QuickHost", "QuickToy"]

SAMPLE = np.dtype([("count", "<i4"), ("regulated", "<u2"), ("cylinder", "<u2")])
NOISE = np.random.default_rng(7).integers(-2, 3, (2, 997))
READ_S = 0.25  # a slow host still; longer than this the wire would seem silent where nothing is wrong
KEPT = 40


@dataclass
class QuickToy(Toy):
    """The toy with mail for octets.

    by_word: openings that were right by all that the rig can show, and wrong only by a false word of a person; by_slip: by a
    coupling that slipped so that no sensor shows it.
    """

    rate_hz: int = 100
    block_size: int = 24
    mail: list[ToHost] = field(default_factory=list)
    calm: bool = True  # the pressures no longer change while nothing turns
    tampered: bool = False  # something has happened to a message on the wire
    false_word: bool = False  # somebody has said another hole than the hose is in
    mistaken: bool = False  # somebody takes another hole for the one that was asked for
    by_holes: int = 1  # how far on in the firing order that is
    by_word: list[str] = field(default_factory=list)
    by_slip: list[str] = field(default_factory=list)
    late_deg: float = 0.0  # by which the stored TDC comes before the true one, since the coupling slipped
    squeezed_after_slip: bool = False

    def tell(self, message: ToHost) -> None:
        if self.plugged:
            self.mail.append(message)

    def take_mail(self) -> list[ToHost]:
        mail, self.mail = self.mail, []
        return mail

    def twin(self) -> QuickToy:
        """Another toy in the same state."""
        other = copy.copy(self)
        other.mail, other.trail = [*self.mail], deque(self.trail)
        other.opens, other.wrong, other.by_word, other.by_slip = [], [], [], []
        if self.confirmation is not None:
            other.confirmation = replace(self.confirmation)
        return other

    # ------------------------------------------------------------------ time

    def go_on(self, samples: int, deg_per_s: float) -> None:
        """So many samples, in blocks, the last one shorter."""
        while samples > 0:
            size = min(samples, self.block_size)
            samples -= size
            if deg_per_s == 0.0 and self.calm and self._nothing_ends_within(size):
                self._stand(size)
            else:
                self.block_size, usual = size, self.block_size
                before = self.p_regulated, self.p_cylinder, self.p_behind
                self.block(deg_per_s)
                after = self.p_regulated, self.p_cylinder, self.p_behind
                self.calm = max(abs(a - b) for a, b in zip(after, before, strict=True)) < 5.0
                self.block_size = usual

    def set_air(self, air: AirState, cause: Cause) -> None:
        super().set_air(air, cause)
        self.calm = False

    def _nothing_ends_within(self, samples: int) -> bool:
        if self.opening is None:
            return True
        held = not self.hold_switch or self.hold
        inside = self.opening.window_low_count <= self.counts <= self.opening.window_high_count
        return held and inside and self.true_s + (samples + 1) / self.rate_hz < self.opening_ends_s

    def _stand(self, samples: int) -> None:
        """A block in which nothing moves."""
        first_tick, counts = self.tick % 2**32, self.counts
        self.true_s += samples / self.rate_hz
        self.tick += samples * (1_000_000 // self.rate_hz)
        while len(self.trail) > 1 and self.trail[1][0] < self.true_s - 1.0:
            self.trail.popleft()  # the one that stays is older than a second, and nothing moved after it
        self.trail.append((self.true_s, counts))
        if not self.streaming:
            return
        vent = BlockFlags.VENT_OPEN if self.air is AirState.VENTED else BlockFlags(0)
        supply = BlockFlags.SUPPLY_OPEN if self.air is AirState.OPEN else BlockFlags(0)
        if self.lose:
            self.lose -= 1
            self.trouble_s = self.true_s
        elif self.plugged:
            data = self._standing_samples(samples, counts)
            self.tell(SampleBlock(self.sequence, first_tick, self.sample_index, vent | supply, samples, 2, data))
        self.sequence = (self.sequence + 1) % 2**16
        self.sample_index = (self.sample_index + samples) % 2**32

    def _standing_samples(self, samples: int, counts: int) -> bytes:
        at = self.tick // 10_000 % (NOISE.shape[1] - samples)
        words = np.empty(samples, SAMPLE)
        words["count"] = counts
        gauges_pa = {"regulated": self.p_regulated, "cylinder": self.p_cylinder + self.cylinder_offset_pa}
        for row, (name, gauge_pa) in enumerate(gauges_pa.items()):
            raw = round((0.1 + 0.8 * gauge_pa / 1e6) * 65535)
            words[name] = np.clip(raw + NOISE[row, at : at + samples], 0, 65535)
        return words.tobytes()

    # ------------------------------------------------------------------ what only this toy does

    def slip_coupling(self, late_deg: float) -> None:
        """The encoder turns against the crank, its index with it: neither counts nor pulses show it."""
        counts = round(late_deg / COUNT_DEG)
        self.slipped += self.sign * counts
        self.index_at_deg -= counts * COUNT_DEG
        self.late_deg += counts * COUNT_DEG
        self.squeezed_after_slip = False

    def condemn(self, kind: str, why: list[str], state: BenchState) -> None:
        super().condemn(kind, self._without_what_nothing_shows(why, kind, state) if why else [], state)

    def _without_what_nothing_shows(self, why: list[str], kind: str, state: BenchState) -> list[str]:
        cylinder, torque_nm = state.purpose.cylinder, state.holding_torque_nm or 0.0
        if state.purpose.kind == "test" and self.false_word and isinstance(self.hose, int) and self.hose != cylinder:
            return self._wrong_by_word(kind, state)
        if state.purpose.kind == "test" and self.late_deg and not self._slip_shows():
            truth = self.false_ready(cylinder, torque_nm)
            hole = [word for word in truth if word.startswith("the hose")]
            if truth and not hole:
                self.by_slip.append(f"{kind}: {'; '.join(truth)} with {self.late_deg:+.1f} degrees of slip")
            return hole
        evidence = state.hose_evidence
        if evidence is not None and evidence.kind == "puff_read_back":
            why = [word for word in why if not word.startswith("a check valve")]  # this toy's puff knows nothing of one
        if self.tampered:
            wrong_outlet = state.purpose.kind != "test" and self.hose != state.purpose.outlet
            return self.false_ready(cylinder, torque_nm) if state.purpose.kind == "test" else ["the outlet"] * wrong_outlet
        return why

    def _slip_shows(self) -> bool:
        """A peak that is late shows it, once there was one; one that is early may be that of a leak."""
        return self.late_deg > 8.0 and self.squeezed_after_slip

    def _wrong_by_word(self, kind: str, state: BenchState) -> list[str]:
        """The hose is in another hole, and somebody said that it is in the right one.

        Then a puff is what shows it; and where both cylinders move in step nothing does, but then the one that gets the air stands
        at its own compression TDC.
        """
        assert isinstance(self.hose, int)
        evidence = state.hose_evidence
        in_step = evidence is not None and self.hose in evidence.shared_with
        here = self.false_ready(self.hose, state.holding_torque_nm or 0.0)
        if in_step and not here:
            self.by_word.append(f"{kind}: in step with the one that was said")
            return []
        if kind == "puff" and evidence is not None and evidence.kind == "puff_read_back":
            self.by_word.append("puff: it is what shows where the hose is")
            return []
        return [f"the hose is in {self.hose}, and only a false word says otherwise", *here]


class QuickHost(Host):
    """The host with mail. on_the_way: does something to the messages of the next read."""

    toy: QuickToy

    def __init__(self, toy: QuickToy) -> None:
        super().__init__(toy)
        self.on_the_way: Callable[[list[Any]], list[Any]] | None = None
        self.heard: deque[Any] = deque(maxlen=KEPT)  # what may come again

    def copy(self) -> QuickHost:
        other = copy.copy(self)
        other.toy, other.heard = self.toy.twin(), deque(self.heard, KEPT)
        other.sent, other.refused, other.said, other.captures = [], [], [], []
        other.by_the_puff = 0
        return other

    def _send(self, message: Any) -> None:
        self.toy.hear_message(message, self)

    def read_back(self) -> None:
        """The person looks, and may take what he sees for what was asked for."""
        cylinder = self.state.purpose.cylinder
        if self.toy.mistaken and self.toy.hose != cylinder:
            self.toy.false_word = True
            self.act(acts.ReadBackHose(cylinder))
        else:
            super().read_back()

    def move_hose(self, real: Hose, said_cylinder: int | None = None) -> None:
        """Put the hose somewhere; a mistaken person puts it into another hole than he thinks."""
        holes = self.toy.engine.firing_order
        if self.toy.mistaken and isinstance(real, int) and len(holes) > 1:
            said_cylinder = said_cylinder or real
            real = holes[(holes.index(real) + self.toy.by_holes) % len(holes)]
        super().move_hose(real, said_cylinder)

    def read(self) -> None:
        mail: list[Any] = self.toy.take_mail()
        self.heard.extend(mail)
        if self.on_the_way is not None:
            on_the_way, self.on_the_way = self.on_the_way, None
            mail = on_the_way(mail)
            self.toy.tampered = True
        if mail:
            self.happen(FromWire(tuple(mail)))
        self.happen(HostTick())

    def run(self, seconds: float, deg_per_s: float = 0.0, blocks_at_once: int = 0) -> None:
        """Let time pass, with the crank turning evenly. blocks_at_once: 0: as often as is sensible; else a read after so many."""
        toy = self.toy
        left = max(1, round(seconds * toy.rate_hz))
        reads = ceil(left / (blocks_at_once * toy.block_size if blocks_at_once else READ_S * toy.rate_hz))
        for number in range(reads, 0, -1):
            samples = left // number
            left -= samples
            toy.go_on(samples, deg_per_s)
            self.read()

    def turn(self, deg: float, deg_per_s: float = 120.0) -> None:
        samples = max(1, round(abs(deg) / deg_per_s * self.toy.rate_hz))
        squeezed = self.state.readiness.state is State.SQUEEZING
        self.run(samples / self.toy.rate_hz, deg / (samples / self.toy.rate_hz))
        if squeezed and self.state.readiness.state is not State.SQUEEZING and self.state.verdict is not None:
            self.toy.squeezed_after_slip = True
