/* Every message and every field as lists of macro calls, for test programs that look at all of them.
 * GENERATED from messages.toml by borewire.generate: change the table, not this file.
 *
 * BW_FIELDS_NAME(FIELD) calls FIELD(type, name) for each field; BW_MESSAGES(ROW) calls ROW(Name, NAME, name) for each
 * message with fields and BW_BARE_MESSAGES(ROW) for each without. */
#ifndef BW_FIELDS_H
#define BW_FIELDS_H

#define BW_FIELDS_IDENTIFY_REQUEST(FIELD) \
    FIELD(u16, request_id) \
    FIELD(u8, protocol_major) \
    FIELD(u8, protocol_minor)

#define BW_FIELDS_STREAM_START(FIELD) \
    FIELD(u16, request_id) \
    FIELD(u16, rate_hz) \
    FIELD(u8, block_size)

#define BW_FIELDS_STREAM_STOP(FIELD) \
    FIELD(u16, request_id)

#define BW_FIELDS_SUPPLY_OPEN(FIELD) \
    FIELD(u16, request_id) \
    FIELD(u16, opening_id) \
    FIELD(u16, time_limit_ms) \
    FIELD(i32, window_low_count) \
    FIELD(i32, window_high_count) \
    FIELD(u16, limit_regulated_raw) \
    FIELD(u16, limit_cylinder_raw)

#define BW_FIELDS_SUPPLY_SHUT(FIELD) \
    FIELD(u16, request_id) \
    FIELD(u32, isolate_ms)

#define BW_FIELDS_VENT_OPEN(FIELD) \
    FIELD(u16, request_id)

#define BW_FIELDS_VENT_CLOSE(FIELD) \
    FIELD(u16, request_id) \
    FIELD(u32, time_limit_ms) \
    FIELD(u16, limit_cylinder_raw)

#define BW_FIELDS_STATUS_REQUEST(FIELD) \
    FIELD(u16, request_id)

#define BW_FIELDS_ECHO_REQUEST(FIELD) \
    FIELD(u16, request_id) \
    FIELD(octets, octets)

#define BW_FIELDS_IDENTITY(FIELD) \
    FIELD(u16, request_id) \
    FIELD(u8, protocol_major) \
    FIELD(u8, protocol_minor) \
    FIELD(u32, schema_fingerprint) \
    FIELD(octets, firmware_version) \
    FIELD(octets, serial_number) \
    FIELD(u32, boot_id) \
    FIELD(u32, tick_rate_hz) \
    FIELD(u32, counts_per_rev) \
    FIELD(u16, max_rate_hz) \
    FIELD(u8, max_block_size) \
    FIELD(u16, fitted) \
    FIELD(u8, channel_count) \
    FIELD(u8, streamed_channels)

#define BW_FIELDS_CHANNEL_DESCRIPTION(FIELD) \
    FIELD(u16, request_id) \
    FIELD(u8, channel) \
    FIELD(u8, quantity) \
    FIELD(u16, raw_min) \
    FIELD(u16, raw_max) \
    FIELD(f32, volts_at_zero) \
    FIELD(f32, volts_per_raw) \
    FIELD(f32, sensor_supply_volts)

#define BW_FIELDS_ACK(FIELD) \
    FIELD(u16, request_id) \
    FIELD(u8, command) \
    FIELD(u32, device_tick)

#define BW_FIELDS_REFUSED(FIELD) \
    FIELD(u16, request_id) \
    FIELD(u8, command) \
    FIELD(u8, reason) \
    FIELD(u32, device_tick)

#define BW_FIELDS_SAMPLE_BLOCK(FIELD) \
    FIELD(u16, sequence) \
    FIELD(u32, device_tick) \
    FIELD(u32, sample_index) \
    FIELD(u16, flags) \
    FIELD(u8, sample_count) \
    FIELD(u8, channel_count) \
    FIELD(octets, samples)

#define BW_FIELDS_INDEX_EVENT(FIELD) \
    FIELD(u32, device_tick) \
    FIELD(i32, crank_count) \
    FIELD(u16, index_number)

#define BW_FIELDS_STATUS(FIELD) \
    FIELD(u16, request_id) \
    FIELD(u32, device_tick) \
    FIELD(u32, boot_id) \
    FIELD(u8, air) \
    FIELD(u8, supply) \
    FIELD(u8, vent) \
    FIELD(u8, hold) \
    FIELD(u8, streaming) \
    FIELD(u16, opening_id) \
    FIELD(i32, crank_count) \
    FIELD(u32, frames_received) \
    FIELD(u32, frames_bad) \
    FIELD(u32, frames_unknown) \
    FIELD(u32, commands_refused) \
    FIELD(u32, samples_dropped)

#define BW_FIELDS_AIR_EVENT(FIELD) \
    FIELD(u32, device_tick) \
    FIELD(u8, air) \
    FIELD(u8, cause) \
    FIELD(u16, opening_id) \
    FIELD(i32, crank_count)

#define BW_FIELDS_FAULT_EVENT(FIELD) \
    FIELD(u32, device_tick) \
    FIELD(u8, fault) \
    FIELD(i32, detail)

#define BW_FIELDS_HOLD_EVENT(FIELD) \
    FIELD(u32, device_tick) \
    FIELD(u8, hold)

#define BW_FIELDS_CAM_EVENT(FIELD) \
    FIELD(u32, device_tick) \
    FIELD(i32, crank_count) \
    FIELD(u8, level)

#define BW_FIELDS_SLOW_READING(FIELD) \
    FIELD(u32, device_tick) \
    FIELD(u8, channel) \
    FIELD(u16, raw)

#define BW_FIELDS_ECHO_REPLY(FIELD) \
    FIELD(u16, request_id) \
    FIELD(octets, octets)

#define BW_MESSAGES(ROW) \
    ROW(IdentifyRequest, IDENTIFY_REQUEST, identify_request) \
    ROW(StreamStart, STREAM_START, stream_start) \
    ROW(StreamStop, STREAM_STOP, stream_stop) \
    ROW(SupplyOpen, SUPPLY_OPEN, supply_open) \
    ROW(SupplyShut, SUPPLY_SHUT, supply_shut) \
    ROW(VentOpen, VENT_OPEN, vent_open) \
    ROW(VentClose, VENT_CLOSE, vent_close) \
    ROW(StatusRequest, STATUS_REQUEST, status_request) \
    ROW(EchoRequest, ECHO_REQUEST, echo_request) \
    ROW(Identity, IDENTITY, identity) \
    ROW(ChannelDescription, CHANNEL_DESCRIPTION, channel_description) \
    ROW(Ack, ACK, ack) \
    ROW(Refused, REFUSED, refused) \
    ROW(SampleBlock, SAMPLE_BLOCK, sample_block) \
    ROW(IndexEvent, INDEX_EVENT, index_event) \
    ROW(Status, STATUS, status) \
    ROW(AirEvent, AIR_EVENT, air_event) \
    ROW(FaultEvent, FAULT_EVENT, fault_event) \
    ROW(HoldEvent, HOLD_EVENT, hold_event) \
    ROW(CamEvent, CAM_EVENT, cam_event) \
    ROW(SlowReading, SLOW_READING, slow_reading) \
    ROW(EchoReply, ECHO_REPLY, echo_reply)

#define BW_BARE_MESSAGES(ROW) \
    ROW(HostAlive, HOST_ALIVE, host_alive)

#endif
