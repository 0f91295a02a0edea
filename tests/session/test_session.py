"""The conversation with a device: what the session sends and tells, message by message."""

from __future__ import annotations

from dataclasses import replace

import pytest
from borewire.codec import UnknownMessage
from borewire.messages import (
    PROTOCOL_MAJOR,
    PROTOCOL_MINOR,
    SCHEMA_FINGERPRINT,
    Ack,
    AirState,
    BlockFlags,
    ChannelDescription,
    Fitted,
    HoldState,
    HostAlive,
    IdentifyRequest,
    Identity,
    Quantity,
    RefusalReason,
    Refused,
    SampleBlock,
    Status,
    StatusRequest,
    StreamStart,
    SupplyOpen,
    SupplyState,
    VentOpen,
    VentState,
)
from borewright.core.samples import SampleFlags
from borewright.session import news
from borewright.session.session import Phase, Session

IDENTITY = Identity(
    1, PROTOCOL_MAJOR, PROTOCOL_MINOR, SCHEMA_FINGERPRINT, "test 1", "R-7", 77, 1_000_000, 2400, 1000, 16, Fitted(0), 2, 2
)
CHANNELS = (
    ChannelDescription(1, 0, Quantity.PRESSURE_REGULATED, 0, 4095, 0.0, 5 / 4096, 5.0),
    ChannelDescription(1, 1, Quantity.PRESSURE_CYLINDER, 0, 4095, 0.0, 5 / 4096, 5.0),
)
STATUS = Status(0, 0, 77, AirState.VENTED, SupplyState.SHUT, VentState.OPEN, HoldState.NOT_FITTED, 1, 0, 0, 0, 0, 0, 0, 0)


def block(sequence: int, tick: int, index: int, counts: tuple[int, ...] = (5, 6)) -> SampleBlock:
    samples = b"".join(
        count.to_bytes(4, "little", signed=True) + (100).to_bytes(2, "little") + (200).to_bytes(2, "little") for count in counts
    )
    return SampleBlock(sequence & 0xFFFF, tick & 0xFFFFFFFF, index, BlockFlags.VENT_OPEN, len(counts), 2, samples)


def streaming(now_s: float = 0.0) -> Session:
    asked = Session(now_s).tick_host(now_s)
    assert asked.send == (IdentifyRequest(1, PROTOCOL_MAJOR, PROTOCOL_MINOR),)
    known = asked.session.receive((IDENTITY, *CHANNELS), now_s)
    assert known.news == (news.DeviceKnown(IDENTITY, CHANNELS),)
    (start,) = known.send
    assert isinstance(start, StreamStart)
    assert (start.rate_hz, start.block_size) == (1000, 8)
    running = known.session.receive((Ack(start.request_id, StreamStart.TYPE, 0),), now_s)
    assert running.news == (news.StreamRunning(),)
    return running.session


def test_identify_is_repeated_and_then_given_up_with_a_reason() -> None:
    session = Session(0.0)
    asked = 0
    told: list[news.News] = []
    for step in range(60):
        outcome = session.tick_host(step / 10)
        session = outcome.session
        asked += sum(isinstance(message, IdentifyRequest) for message in outcome.send)
        told.extend(outcome.news)
    assert asked == 11
    assert session.phase is Phase.REFUSED
    (refused,) = told
    assert isinstance(refused, news.LinkRefused)
    assert "nothing answers" in refused.reason


def test_a_device_of_another_language_is_told_from_a_silent_port() -> None:
    session = Session(0.0).receive((), 1.0, octets=5).session
    outcome = session.tick_host(5.1)
    (refused,) = outcome.news
    assert isinstance(refused, news.LinkRefused)
    assert "not in the language" in refused.reason


@pytest.mark.parametrize("major", [PROTOCOL_MAJOR + 1, 0])
def test_another_major_version_is_refused_naming_both(major: int) -> None:
    outcome = Session(0.0).receive((replace(IDENTITY, protocol_major=major, protocol_minor=4),), 0.0)
    (refused,) = outcome.news
    assert isinstance(refused, news.LinkRefused)
    assert f"{major}.4" in refused.reason
    assert f"{PROTOCOL_MAJOR}.{PROTOCOL_MINOR}" in refused.reason
    assert outcome.session.tick_host(9.0).send == ()


def test_another_minor_version_works() -> None:
    outcome = Session(0.0).receive((replace(IDENTITY, protocol_minor=PROTOCOL_MINOR + 3), *CHANNELS), 0.0)
    assert any(isinstance(message, StreamStart) for message in outcome.send)


def test_the_device_may_refuse_our_version() -> None:
    outcome = Session(0.0).receive((Refused(1, IdentifyRequest.TYPE, RefusalReason.VERSION_UNSUPPORTED, 0),), 0.0)
    assert outcome.session.phase is Phase.REFUSED


def test_blocks_become_columns_with_unwrapped_ticks_across_both_wraps() -> None:
    session = streaming()
    first = session.receive((block(0xFFFF, 0xFFFFF82F, 10),), 0.1)
    second = first.session.receive((block(0, 0xFFFFF82F + 2000, 12),), 0.2)
    assert first.samples is not None
    assert second.samples is not None
    assert second.samples.tick.tolist() == [0xFFFFF82F + 2000, 0xFFFFF82F + 3000]
    assert second.samples.index.tolist() == [12, 13]
    assert second.samples.raw.tolist() == [[100, 100], [200, 200]]
    assert second.news == ()


def test_a_lost_block_is_told_and_flagged_and_a_repeat_is_dropped() -> None:
    session = streaming().receive((block(4, 8000, 8),), 0.1).session
    outcome = session.receive((block(4, 8000, 8), block(7, 14000, 14)), 0.2)
    assert outcome.news == (news.Gap(14000, 2),)
    assert outcome.samples is not None
    assert len(outcome.samples) == 2
    assert [bool(flag & SampleFlags.GAP_BEFORE) for flag in outcome.samples.flags] == [True, False]
    assert all(flag & SampleFlags.VENT_OPEN for flag in outcome.samples.flags)


def test_silence_is_told_once_and_streaming_resumes_with_the_next_block() -> None:
    session = streaming(0.0)
    silent = session.tick_host(0.6)
    (told,) = silent.news
    assert isinstance(told, news.LinkSilent)
    assert silent.session.tick_host(0.7).news == ()
    back = silent.session.receive((block(0, 0, 0),), 1.0)
    assert back.session.phase is Phase.STREAMING
    assert back.news == (news.StreamRunning(),)


def test_a_host_that_was_busy_does_not_take_its_own_gap_for_silence() -> None:
    session = streaming().receive((block(4, 8000, 8),), 10.0).session
    assert session.tick_host(12.5, looked_s=10.0).news == ()  # the fit of a test took two seconds and a half
    (told,) = session.tick_host(12.52, looked_s=12.515).news  # then it looked, and nothing had come
    assert isinstance(told, news.LinkSilent)


def test_what_the_host_hears_of_itself_is_no_sign_of_life() -> None:
    session = streaming(0.0).receive((block(0, 0, 0),), 0.0).session
    echoes = session.receive((UnknownMessage(HostAlive.TYPE, b""), UnknownMessage(SupplyOpen.TYPE, b"")), 0.6).session
    (told,) = echoes.tick_host(0.6).news
    assert told == news.LinkSilent(0.6)
    newer = session.receive((UnknownMessage(0x99, b""),), 0.6).session
    assert newer.tick_host(0.6).news == ()


def test_a_device_that_answers_but_sends_no_samples_is_told_once_until_they_come() -> None:
    session = streaming(0.0).receive((block(0, 0, 0),), 0.0).session
    told: list[news.News] = []
    for step in range(1, 30):  # each time that it is asked who it is it answers, and starts a stream that does not come
        now_s = step * 0.1
        asked = session.tick_host(now_s)
        told += asked.news
        session = asked.session.receive((STATUS,), now_s).session
        for sent in asked.send:
            if isinstance(sent, IdentifyRequest):
                known = session.receive((IDENTITY, *CHANNELS), now_s)
                (start,) = known.send
                assert isinstance(start, StreamStart)
                session = known.session.receive((Ack(start.request_id, StreamStart.TYPE, 0),), now_s).session
    silences = [one for one in told if isinstance(one, news.LinkSilent)]
    assert [one.answers for one in silences] == [True]
    back = session.receive((block(0, 0, 0),), 3.0)
    assert back.news == (news.StreamRunning(),)
    assert back.session.phase is Phase.STREAMING


def test_only_the_answer_to_its_own_request_starts_the_stream() -> None:
    known = Session(0.0).tick_host(0.0).session.receive((IDENTITY, *CHANNELS), 0.0)
    (start,) = known.send
    assert isinstance(start, StreamStart)
    others = known.session.receive((Ack(start.request_id + 1, StreamStart.TYPE, 0),), 0.0)
    assert (others.session.phase, others.news) == (Phase.STARTING, ())
    assert others.session.receive((Ack(start.request_id, StreamStart.TYPE, 0),), 0.0).session.phase is Phase.STREAMING


def test_a_status_answers_the_request_for_it() -> None:
    asked = streaming().command(StatusRequest(0), 0.0)
    (sent,) = asked.send
    assert isinstance(sent, StatusRequest)
    assert asked.session.awaits(StatusRequest.TYPE)
    assert not asked.session.receive((replace(STATUS, request_id=sent.request_id),), 0.0).session.awaits(StatusRequest.TYPE)
    assert asked.session.receive((STATUS,), 0.0).session.awaits(StatusRequest.TYPE)  # it came by itself


def test_a_rig_that_talks_but_does_not_hear_is_told_from_one_of_another_language() -> None:
    session = Session(0.0).receive((STATUS,), 1.0, octets=40).session
    (refused,) = session.tick_host(5.1).news
    assert isinstance(refused, news.LinkRefused)
    assert "talks but does not hear" in refused.reason


def test_the_host_is_never_quiet_for_more_than_a_tenth_of_a_second() -> None:
    session = streaming()
    last = 0.0
    for step in range(1, 100):
        now_s = step * 0.02
        outcome = session.receive((UnknownMessage(0x99, b""), block(step, step, step)), now_s).session.tick_host(now_s)
        session = outcome.session
        if outcome.send:
            assert outcome.send == (HostAlive(),)
            assert now_s - last <= 0.12 + 1e-9
            last = now_s
    assert last > 1.8


def test_a_command_is_repeated_until_answered_and_then_called_lost() -> None:
    outcome = streaming().command(VentOpen(0), 1.0)
    (sent,) = outcome.send
    again = outcome.session.receive((STATUS, block(0, 0, 0)), 1.2).session.tick_host(1.25)
    assert again.send == (sent,)
    answered = again.session.receive((Ack(sent.request_id, VentOpen.TYPE, 5),), 1.3).session
    assert sent not in answered.tick_host(2.0).send
    session = again.session
    told: list[news.News] = []
    for step in range(10):
        lost = session.receive((STATUS, block(step, step, step)), 1.5 + step * 0.25).session.tick_host(1.5 + step * 0.25)
        session = lost.session
        told.extend(lost.news)
    assert news.CommandLost(VentOpen.TYPE) in told


def test_an_opening_is_never_repeated_by_itself() -> None:
    outcome = streaming().command(SupplyOpen(0, 3, 200, -5, 5, 4000, 4000), 1.0)
    assert all(not isinstance(message, SupplyOpen) for message in outcome.session.tick_host(1.9).send)


def test_a_changed_boot_id_is_a_restart_and_the_device_is_asked_anew() -> None:
    outcome = streaming().receive((replace(STATUS, boot_id=78),), 2.0, octets=40)
    assert news.DeviceRestarted(77, 78) in outcome.news
    assert outcome.session.phase is Phase.IDENTIFYING
    assert outcome.session.octets == streaming().octets + 40  # what came over the link is not forgotten
    assert isinstance(outcome.session.tick_host(2.0).send[0], IdentifyRequest)


def test_a_device_that_refuses_the_stream_is_given_up_with_its_reason() -> None:
    known = Session(0.0).receive((IDENTITY, *CHANNELS), 0.0)
    (start,) = known.send
    outcome = known.session.receive((Refused(start.request_id, StreamStart.TYPE, RefusalReason.RATE_UNSUPPORTED, 0),), 0.1)
    (refused,) = outcome.news
    assert isinstance(refused, news.LinkRefused)
    assert "rate unsupported" in refused.reason


def test_a_device_that_never_answers_the_stream_is_given_up() -> None:
    session = Session(0.0).receive((IDENTITY, *CHANNELS), 0.0).session
    told: list[news.News] = []
    for step in range(1, 12):
        outcome = session.tick_host(step * 0.25)
        session = outcome.session
        told.extend(outcome.news)
    (refused,) = told
    assert isinstance(refused, news.LinkRefused)
    assert "does not answer" in refused.reason
