"""The sample stream: start, repeat, restart, stop, numbers without gaps, exact ticks."""

from __future__ import annotations

from itertools import pairwise
from typing import Final

from borewire.messages import (
    Ack,
    BlockFlags,
    HoldState,
    Quantity,
    RefusalReason,
    Refused,
    SampleBlock,
    Status,
    StreamStart,
    StreamStop,
)

from borewright.conform.bench import Bench, samples_of, ticks_from
from borewright.conform.check import Check, Failed, NotTried, chapter_of
from borewright.conform.verdict import Figure

__all__ = ["STREAMING"]

WATCHED_S: Final = 2.0
FIRST_BLOCK_WITHIN_S: Final = 3.0
RATES_TRIED_HZ: Final = (1000, 500, 250, 200, 125, 100, 50, 20, 10)
PRESSURES: Final = (Quantity.PRESSURE_REGULATED, Quantity.PRESSURE_CYLINDER)


def blocks_for(bench: Bench, seconds: float) -> list[SampleBlock]:
    """The blocks of so many seconds. Raises Failed when none comes."""
    since = bench.mark()
    bench.listen(seconds)
    blocks = bench.only(SampleBlock, since)
    if not blocks:
        raise Failed(f"no sample block came in {seconds:g} s although the stream was started")
    return blocks


def first_block(bench: Bench, since: int) -> SampleBlock:
    """The first block of a stream that was started; what came before its sample index 0 belongs to the stream before it."""
    heard = bench.until(lambda what: isinstance(what, SampleBlock) and what.sample_index == 0, FIRST_BLOCK_WITHIN_S, since=since)
    if heard is None or not isinstance(heard.what, SampleBlock):
        raise Failed("no block with sample index 0 came after the stream was started (anew)")
    return heard.what


def stop(bench: Bench) -> None:
    """Stop the stream and let what is under way arrive."""
    bench.stop_stream()
    bench.listen(0.05)


def judge_numbers(blocks: list[SampleBlock], sample_ticks: int) -> None:
    """Sequence, sample index and ticks from block to block, with no loss."""
    for one, following in pairwise(blocks):
        if following.flags & BlockFlags.DROPPED_BEFORE:
            _judge_drop(one, following, sample_ticks)
            continue
        if following.sequence != (one.sequence + 1) & 0xFFFF:
            raise Failed(f"sequence {following.sequence} came after {one.sequence}; it has to rise by one")
        if following.sample_index == 0 and one.sample_index:
            continue  # a restart between them, for which index and ticks begin anew
        if following.sample_index != (one.sample_index + one.sample_count) & 0xFFFFFFFF:
            raise Failed(
                f"sample_index {following.sample_index} came after a block of {one.sample_count} samples from "
                f"{one.sample_index} on; "
                "samples are missing or told twice"
            )
        ticks = ticks_from(one.device_tick, following.device_tick)
        if ticks != one.sample_count * sample_ticks:
            raise Failed(
                f"from sample {one.sample_index} to sample {following.sample_index} there are {ticks} ticks, where "
                f"{one.sample_count} × {sample_ticks} are due, exactly"
            )


def _judge_drop(one: SampleBlock, following: SampleBlock, sample_ticks: int) -> None:
    """Samples that the line was too slow for are missing, and sample index and ticks say how many."""
    missing = (following.sample_index - one.sample_index) & 0xFFFFFFFF
    if ticks_from(one.device_tick, following.device_tick) != missing * sample_ticks:
        raise Failed("before a block with dropped_before the sample index went on by another time than the ticks")


def _start(bench: Bench) -> None:
    bench.start_stream()
    stop(bench)
    if bench.status().streaming:
        raise Failed("Status says streaming after StreamStop was acknowledged")
    since = bench.mark()
    bench.start_stream()
    if bench.only(SampleBlock, since) and _before_ack(bench, since):
        raise Failed("a sample block came between StreamStart and its Ack")
    block = first_block(bench, since)
    if block.sample_count != bench.block_size:
        raise Failed(f"blocks of {block.sample_count} samples came, where {bench.block_size} were asked for")
    if block.channel_count != bench.device.streamed_channels:
        raise Failed(f"samples of {block.channel_count} channels came, where {bench.device.streamed_channels} are streamed")
    if not bench.status().streaming:
        raise Failed("Status does not say streaming although samples come")


def _before_ack(bench: Bench, since: int) -> bool:
    """Whether the first thing of stream and Ack that came was a block."""
    first = next(heard.what for heard in bench.heard[since:] if isinstance(heard.what, Ack | SampleBlock))
    return isinstance(first, SampleBlock)


def _repeat(bench: Bench) -> None:
    bench.start_stream()
    blocks_for(bench, 0.2)
    since = bench.mark()
    for _ in range(3):
        bench.start_stream()
        blocks_for(bench, 0.1)
    blocks = bench.only(SampleBlock, since)
    if any(block.sample_index == 0 for block in blocks):
        raise Failed("StreamStart, repeated alike, began the samples anew from index 0; it has to change nothing")
    judge_numbers(blocks, bench.sample_ticks)


def _restart(bench: Bench) -> None:
    bench.start_stream()
    blocks_for(bench, 0.2)
    other = bench.block_size - 1 or 2
    if other > bench.device.max_block_size:
        raise NotTried("the device knows one block size only")
    since = bench.mark()
    bench.acked(StreamStart(0, bench.rate_hz, other))
    block = first_block(bench, since)
    if block.sample_count != other:
        raise Failed(f"blocks of {block.sample_count} samples came, where {other} were asked for")
    blocks_for(bench, 0.2)
    stop(bench)
    since = bench.mark()
    bench.start_stream()
    first_block(bench, since)
    judge_numbers(bench.only(SampleBlock), bench.sample_ticks)


def _stop(bench: Bench) -> None:
    bench.start_stream()
    blocks_for(bench, 0.2)
    ack = bench.acked(StreamStop(0))
    bench.listen(0.5)
    at = next(number for number, heard in enumerate(bench.heard) if heard.what is ack)
    if bench.only(SampleBlock, at):
        raise Failed("sample blocks came after the Ack of StreamStop")
    bench.acked(StreamStop(0))


def _numbers(bench: Bench) -> list[Figure]:
    bench.start_stream()
    blocks = blocks_for(bench, WATCHED_S)
    judge_numbers(blocks, bench.sample_ticks)
    if any(block.flags & BlockFlags.DROPPED_BEFORE for block in blocks):
        raise Failed("blocks have the flag dropped_before at the usual rate; the line is too slow for it")
    return [Figure("blocks", len(blocks)), Figure("rate_hz", bench.rate_hz), Figure("block_size", bench.block_size)]


def _rates(bench: Bench) -> list[Figure]:
    device = bench.device
    rates = sorted({*RATES_TRIED_HZ, device.max_rate_hz}, reverse=True)
    taken = []
    for rate_hz in rates:
        if rate_hz > device.max_rate_hz or device.tick_rate_hz % rate_hz:
            continue
        since = bench.mark()
        command = StreamStart(0, rate_hz, 2 if device.max_block_size > 1 else 1)
        answer = bench.ask(command)
        if isinstance(answer, Refused) and answer.reason is RefusalReason.RATE_UNSUPPORTED and rate_hz != device.max_rate_hz:
            continue  # a device may take fewer rates than the page allows: those that it can keep exactly
        bench.is_ack(command, answer)
        first_block(bench, since)
        bench.listen(0.25 if rate_hz >= 20 else 0.7)
        blocks = [block for block in bench.only(SampleBlock, since) if block.sample_count == command.block_size]
        began = next((at for at, block in enumerate(blocks) if block.sample_index == 0), None)
        if began is None:
            raise Failed(f"no block of {command.block_size} samples began the stream, where so many were asked for")
        judge_numbers(blocks[began:], device.tick_rate_hz // rate_hz)
        taken.append(rate_hz)
    return [Figure("rates_taken_hz", " ".join(map(str, taken)))]


def _block_sizes(bench: Bench) -> None:
    bench.start_stream()
    for size in sorted({1, 2, bench.device.max_block_size}):
        if size > bench.device.max_block_size:
            continue
        stop(bench)
        since = bench.mark()
        bench.acked(StreamStart(0, bench.rate_hz, size))
        first_block(bench, since)
        blocks_for(bench, 0.3)
        blocks = bench.only(SampleBlock, since)
        others = {block.sample_count for block in blocks} - {size}
        if others:
            raise Failed(f"blocks of {min(others)} samples came, where {size} were asked for")
        judge_numbers(blocks, bench.sample_ticks)


def _flags(bench: Bench) -> None:
    bench.start_stream()
    status = bench.status()
    limits = [(c.raw_min, c.raw_max) for c in bench.channels[: bench.device.streamed_channels]]
    judged = [c.quantity in PRESSURES for c in bench.channels[: bench.device.streamed_channels]]
    for block in blocks_for(bench, 0.5):
        raw = samples_of(block)[0][1:]
        at_end = [not low < word < high for word, (low, high) in zip(raw, limits, strict=True)]
        said = bool(block.flags & BlockFlags.SATURATED)
        if said != any(ended and pressure for ended, pressure in zip(at_end, judged, strict=True)):
            raise Failed(f"the flag saturated is {said}, but the raw words of the first sample are {raw}")
        if bool(block.flags & BlockFlags.HOLD_PRESSED) != (status.hold is HoldState.PRESSED):
            raise Failed(f"the flag hold_pressed does not agree with the Status, which says {status.hold.name.lower()}")
        vent = bool(block.flags & BlockFlags.VENT_OPEN)
        if bench.has_valves and (not vent or block.flags & BlockFlags.SUPPLY_OPEN):
            raise Failed("the flags of a vented device have to say vent_open and not supply_open")


def _crank(bench: Bench) -> None:
    bench.start_stream()
    since = bench.mark()
    blocks_for(bench, 0.2)
    status = bench.status()
    blocks_for(bench, 0.2)
    counts = {sample[0] for block in bench.only(SampleBlock, since) for sample in samples_of(block)}
    if not min(counts) <= status.crank_count <= max(counts):
        raise Failed(f"Status has crank_count {status.crank_count}, the samples about it {min(counts)} to {max(counts)}")


def _refusals(bench: Bench) -> None:
    bench.start_stream()
    device = bench.device
    since = bench.mark()
    blocks_for(bench, 0.1)
    before = bench.status()
    fastest = device.max_rate_hz
    odd = next((rate for rate in range(min(fastest, 1000), 0, -1) if device.tick_rate_hz % rate), None)
    rates = [0, 0xFFFF, *([fastest + 1] if fastest < 0xFFFE else []), *([odd] if odd else [])]
    for rate_hz in rates:
        bench.refused(StreamStart(0, rate_hz, bench.block_size), RefusalReason.RATE_UNSUPPORTED)
    sizes = [0, *([255, device.max_block_size + 1] if device.max_block_size < 255 else [])]
    for size in sizes:
        bench.refused(StreamStart(0, bench.rate_hz, size), RefusalReason.BLOCK_TOO_LARGE)
    bench.refused(StreamStart(0, 0, 0), RefusalReason.RATE_UNSUPPORTED, "whose rate and block size are both wrong")
    times = len(rates) + len(sizes) + 1
    after: Status = bench.status()
    blocks_for(bench, 0.1)
    judge_numbers(bench.only(SampleBlock, since), bench.sample_ticks)
    if not after.streaming or any(block.sample_index == 0 for block in bench.only(SampleBlock, since)[1:]):
        raise Failed("a refused StreamStart stopped the stream or began it anew")
    if after.commands_refused - before.commands_refused != times:
        raise Failed(f"commands_refused rose by {after.commands_refused - before.commands_refused} over {times} refused commands")


FIVE = "PROTOCOL.md 5, Streaming"
SIX = "PROTOCOL.md 6"
STREAMING = chapter_of(
    "Streaming",
    Check("stream-start", "StreamStart starts the samples at sample index 0, in blocks of the size asked for.", FIVE, _start),
    Check("stream-repeat", "StreamStart, repeated alike, is acknowledged and changes nothing.", FIVE, _repeat),
    Check(
        "stream-restart",
        "Another block size begins anew at sample index 0; sequence goes on rising by one.",
        f"{FIVE}; 6",
        _restart,
    ),
    Check("stream-stop", "After the Ack of StreamStop no samples come; it may be repeated.", FIVE, _stop),
    Check(
        "stream-refusals",
        "A rate of 0, over the fastest or that does not divide the tick rate, and a block size of 0 or too many, are "
        "refused; the stream "
        "goes on.",
        FIVE,
        _refusals,
    ),
    Check("stream-numbers", "sequence and sample_index have no gap, and ticks are exactly k × tick_rate / rate.", SIX, _numbers),
    Check("stream-rates", "The fastest rate is taken, and at every rate that is taken the ticks are exact.", SIX, _rates),
    Check("stream-block-sizes", "Block sizes of 1 to the largest are taken.", FIVE, _block_sizes),
    Check("stream-flags", "The flags are true of the first sample of the block.", f"{SIX}, Flags", _flags),
    Check("stream-crank", "Status and samples tell the same crank count.", SIX, _crank),
)
