/* The messages of the wire. GENERATED from messages.toml by borewire.generate: change the table, not this file.
 *
 * Of each message: its type number, its fields as a struct, a writer and a reader. Content is type number and body.
 * bw_write_NAME puts the content where BW_CONTENT_AT of a frame buffer is and returns its length for bw_frame_close, or
 * 0 when a field does not fit its place on the wire. bw_read_NAME takes the content that the decoder gave, whose first
 * octet must be the message's type number, and says BW_GOOD only when the body is exactly as the table says; otherwise
 * the struct holds nothing of use. Enum and flag fields have the size they have on the wire. A text or octets field
 * points into the content when read, and has no final zero.
 *
 * All functions keep nothing and may run in the main loop or in an interrupt. */
#ifndef BW_MESSAGES_H
#define BW_MESSAGES_H

#include "bw_frame.h"

#define BW_PROTOCOL_MAJOR 1u
#define BW_PROTOCOL_MINOR 0u
#define BW_SCHEMA_FINGERPRINT UINT32_C(0x506A0CB1)

/* Whether a type number is that of a message to this side. What is not is skipped and counted as unknown. */
bool bw_known_to_device(uint8_t type);
bool bw_known_to_host(uint8_t type);

/* What a channel measures. */
enum bw_quantity {
    BW_QUANTITY_PRESSURE_REGULATED = 0,
    BW_QUANTITY_PRESSURE_CYLINDER = 1,
    BW_QUANTITY_PRESSURE_SPARE = 2,
    BW_QUANTITY_PRESSURE_AMBIENT = 3,
    BW_QUANTITY_TEMPERATURE_AMBIENT = 4,
    BW_QUANTITY_PRESSURE_SUPPLY = 5
};

/* What the device drives its supply valve to. */
enum bw_supply_state {
    BW_SUPPLY_STATE_SHUT = 0,
    BW_SUPPLY_STATE_OPEN = 1,
    BW_SUPPLY_STATE_NOT_FITTED = 2
};

/* What the device drives its vent valve to. */
enum bw_vent_state {
    BW_VENT_STATE_CLOSED = 0,
    BW_VENT_STATE_OPEN = 1,
    BW_VENT_STATE_NOT_FITTED = 2
};

/* The state of the device's interlock (interlock.toml). */
enum bw_air_state {
    BW_AIR_STATE_VENTED = 0,
    BW_AIR_STATE_CLOSED = 1,
    BW_AIR_STATE_OPEN = 2,
    BW_AIR_STATE_ISOLATED = 3,
    BW_AIR_STATE_NO_VALVES = 4
};

/* The hold-to-run switch. */
enum bw_hold_state {
    BW_HOLD_STATE_RELEASED = 0,
    BW_HOLD_STATE_PRESSED = 1,
    BW_HOLD_STATE_NOT_FITTED = 2
};

/* Why the interlock changed its state: 1 to 4 are commands, those from 5 on shut and vented by themselves. */
enum bw_cause {
    BW_CAUSE_POWER_UP = 0,
    BW_CAUSE_COMMAND_OPEN = 1,
    BW_CAUSE_COMMAND_SHUT = 2,
    BW_CAUSE_COMMAND_VENT = 3,
    BW_CAUSE_COMMAND_CLOSE = 4,
    BW_CAUSE_TIME_LIMIT = 5,
    BW_CAUSE_CRANK_LEFT_WINDOW = 6,
    BW_CAUSE_OVER_PRESSURE_REGULATED = 7,
    BW_CAUSE_OVER_PRESSURE_CYLINDER = 8,
    BW_CAUSE_HOLD_RELEASED = 9,
    BW_CAUSE_HOST_SILENT = 10,
    BW_CAUSE_SENSOR_FAULT = 11,
    BW_CAUSE_STREAM_STOPPED = 12
};

/* Why a command was refused. A refused command has changed nothing. */
enum bw_refusal_reason {
    BW_REFUSAL_REASON_NO_VALVES = 0,
    BW_REFUSAL_REASON_NOT_STREAMING = 1,
    BW_REFUSAL_REASON_OPENING_OVER = 2,
    BW_REFUSAL_REASON_LIMITS_INVALID = 3,
    BW_REFUSAL_REASON_OUTSIDE_WINDOW = 4,
    BW_REFUSAL_REASON_OVER_PRESSURE = 5,
    BW_REFUSAL_REASON_HOLD_NOT_PRESSED = 6,
    BW_REFUSAL_REASON_AIR_IS_ON = 7,
    BW_REFUSAL_REASON_RATE_UNSUPPORTED = 8,
    BW_REFUSAL_REASON_BLOCK_TOO_LARGE = 9,
    BW_REFUSAL_REASON_VERSION_UNSUPPORTED = 10,
    BW_REFUSAL_REASON_FAULT_PRESENT = 11
};

/* A fault that the device found in itself or in its wiring. */
enum bw_fault_code {
    BW_FAULT_CODE_SENSOR_REGULATED_RANGE = 0,
    BW_FAULT_CODE_SENSOR_CYLINDER_RANGE = 1,
    BW_FAULT_CODE_ENCODER_ILLEGAL_STEP = 2,
    BW_FAULT_CODE_INDEX_SPACING = 3,
    BW_FAULT_CODE_SAMPLES_DROPPED = 4,
    BW_FAULT_CODE_SUPPLY_VOLTAGE = 5,
    BW_FAULT_CODE_MEMORY = 6
};

/* What is fitted to the device. */
#define BW_FITTED_SUPPLY_VALVE (1u << 0)
#define BW_FITTED_VENT_VALVE (1u << 1)
#define BW_FITTED_HOLD_SWITCH (1u << 2)
#define BW_FITTED_CAM_SIGNAL (1u << 3)
#define BW_FITTED_AMBIENT_PRESSURE (1u << 4)
#define BW_FITTED_AMBIENT_TEMPERATURE (1u << 5)
#define BW_FITTED_SPARE_CHANNEL (1u << 6)

/* What was true at the first sample of a block. */
#define BW_BLOCK_FLAGS_SUPPLY_OPEN (1u << 0)
#define BW_BLOCK_FLAGS_VENT_OPEN (1u << 1)
#define BW_BLOCK_FLAGS_HOLD_PRESSED (1u << 2)
#define BW_BLOCK_FLAGS_SATURATED (1u << 3)
#define BW_BLOCK_FLAGS_DROPPED_BEFORE (1u << 4)
#define BW_BLOCK_FLAGS_INDEX_SEEN (1u << 5)
#define BW_BLOCK_FLAGS_CAM_HIGH (1u << 6)

/* IdentifyRequest, to the device. Asks who is there. The device answers with Identity and then one ChannelDescription
 * for each channel, or with Refused(version_unsupported). */
#define BW_TYPE_IDENTIFY_REQUEST 0x01u
struct bw_identify_request {
    uint16_t request_id;
    uint8_t protocol_major;
    uint8_t protocol_minor;
};
uint8_t bw_write_identify_request(uint8_t *content, const struct bw_identify_request *message);
enum bw_bad bw_read_identify_request(struct bw_identify_request *message, const uint8_t *content,
                                     uint8_t content_length);

/* StreamStart, to the device. Starts the sample stream. May be repeated; another rate or block size restarts the stream
 * with sample index 0. */
#define BW_TYPE_STREAM_START 0x02u
struct bw_stream_start {
    uint16_t request_id;
    uint16_t rate_hz; /* 1/s */
    uint8_t block_size;
};
uint8_t bw_write_stream_start(uint8_t *content, const struct bw_stream_start *message);
enum bw_bad bw_read_stream_start(struct bw_stream_start *message, const uint8_t *content, uint8_t content_length);

/* StreamStop, to the device. Stops the sample stream. With the vent closed or the supply open it also shuts and
 * vents. */
#define BW_TYPE_STREAM_STOP 0x03u
struct bw_stream_stop {
    uint16_t request_id;
};
uint8_t bw_write_stream_stop(uint8_t *content, const struct bw_stream_stop *message);
enum bw_bad bw_read_stream_stop(struct bw_stream_stop *message, const uint8_t *content, uint8_t content_length);

/* SupplyOpen, to the device. Closes the vent and opens the supply, once, under limits. Sent again with the same
 * opening_id while open, it renews the time limit and takes over the other limits. An opening that is over is never
 * opened again: a late repeat is refused with opening_over. */
#define BW_TYPE_SUPPLY_OPEN 0x04u
struct bw_supply_open {
    uint16_t request_id;
    uint16_t opening_id;
    uint16_t time_limit_ms; /* ms */
    int32_t window_low_count; /* counts */
    int32_t window_high_count; /* counts */
    uint16_t limit_regulated_raw;
    uint16_t limit_cylinder_raw;
};
uint8_t bw_write_supply_open(uint8_t *content, const struct bw_supply_open *message);
enum bw_bad bw_read_supply_open(struct bw_supply_open *message, const uint8_t *content, uint8_t content_length);

/* SupplyShut, to the device. Shuts the supply. With isolate_ms above 0 the vent stays closed for at most that long,
 * under the limits of the opening, so that the decay can be watched; with 0 the vent opens at once. */
#define BW_TYPE_SUPPLY_SHUT 0x05u
struct bw_supply_shut {
    uint16_t request_id;
    uint32_t isolate_ms; /* ms */
};
uint8_t bw_write_supply_shut(uint8_t *content, const struct bw_supply_shut *message);
enum bw_bad bw_read_supply_shut(struct bw_supply_shut *message, const uint8_t *content, uint8_t content_length);

/* VentOpen, to the device. Shuts the supply and opens the vent. Never refused by a device with valves. */
#define BW_TYPE_VENT_OPEN 0x06u
struct bw_vent_open {
    uint16_t request_id;
};
uint8_t bw_write_vent_open(uint8_t *content, const struct bw_vent_open *message);
enum bw_bad bw_read_vent_open(struct bw_vent_open *message, const uint8_t *content, uint8_t content_length);

/* VentClose, to the device. Closes the vent with the supply shut, so that a hand-turned piston squeezes air into the
 * closed hose. Sent again it renews the time limit and takes over the pressure limit. */
#define BW_TYPE_VENT_CLOSE 0x07u
struct bw_vent_close {
    uint16_t request_id;
    uint32_t time_limit_ms; /* ms */
    uint16_t limit_cylinder_raw;
};
uint8_t bw_write_vent_close(uint8_t *content, const struct bw_vent_close *message);
enum bw_bad bw_read_vent_close(struct bw_vent_close *message, const uint8_t *content, uint8_t content_length);

/* StatusRequest, to the device. Asks for one Status. */
#define BW_TYPE_STATUS_REQUEST 0x08u
struct bw_status_request {
    uint16_t request_id;
};
uint8_t bw_write_status_request(uint8_t *content, const struct bw_status_request *message);
enum bw_bad bw_read_status_request(struct bw_status_request *message, const uint8_t *content, uint8_t content_length);

/* HostAlive, to the device. Says that the host is alive; not answered. Every good frame says so too. Send one whenever
 * 100 ms have passed without another frame. */
#define BW_TYPE_HOST_ALIVE 0x09u
uint8_t bw_write_host_alive(uint8_t *content);
enum bw_bad bw_read_host_alive(const uint8_t *content, uint8_t content_length);

/* EchoRequest, to the device. Asks for the same octets back, to prove a codec on the real line. */
#define BW_TYPE_ECHO_REQUEST 0x0Au
struct bw_echo_request {
    uint16_t request_id;
    const uint8_t *octets; /* at most 200 octets */
    uint8_t octets_length;
};
uint8_t bw_write_echo_request(uint8_t *content, const struct bw_echo_request *message);
enum bw_bad bw_read_echo_request(struct bw_echo_request *message, const uint8_t *content, uint8_t content_length);

/* Identity, to the host. Who the device is. */
#define BW_TYPE_IDENTITY 0x81u
struct bw_identity {
    uint16_t request_id;
    uint8_t protocol_major;
    uint8_t protocol_minor;
    uint32_t schema_fingerprint;
    const uint8_t *firmware_version; /* at most 64 octets */
    uint8_t firmware_version_length;
    const uint8_t *serial_number; /* at most 64 octets */
    uint8_t serial_number_length;
    uint32_t boot_id;
    uint32_t tick_rate_hz; /* 1/s */
    uint32_t counts_per_rev; /* counts */
    uint16_t max_rate_hz; /* 1/s */
    uint8_t max_block_size;
    uint16_t fitted; /* Fitted */
    uint8_t channel_count;
    uint8_t streamed_channels;
};
uint8_t bw_write_identity(uint8_t *content, const struct bw_identity *message);
enum bw_bad bw_read_identity(struct bw_identity *message, const uint8_t *content, uint8_t content_length);

/* ChannelDescription, to the host. One analog channel: what it measures and how its raw words become volts: volts =
 * volts_at_zero + raw × volts_per_raw. */
#define BW_TYPE_CHANNEL_DESCRIPTION 0x82u
struct bw_channel_description {
    uint16_t request_id;
    uint8_t channel;
    uint8_t quantity; /* Quantity */
    uint16_t raw_min;
    uint16_t raw_max;
    float volts_at_zero; /* V */
    float volts_per_raw; /* V */
    float sensor_supply_volts; /* V */
};
uint8_t bw_write_channel_description(uint8_t *content, const struct bw_channel_description *message);
enum bw_bad bw_read_channel_description(struct bw_channel_description *message, const uint8_t *content,
                                        uint8_t content_length);

/* Ack, to the host. The command was carried out (or had been already). */
#define BW_TYPE_ACK 0x83u
struct bw_ack {
    uint16_t request_id;
    uint8_t command;
    uint32_t device_tick; /* ticks */
};
uint8_t bw_write_ack(uint8_t *content, const struct bw_ack *message);
enum bw_bad bw_read_ack(struct bw_ack *message, const uint8_t *content, uint8_t content_length);

/* Refused, to the host. The command was not carried out and changed nothing. */
#define BW_TYPE_REFUSED 0x84u
struct bw_refused {
    uint16_t request_id;
    uint8_t command;
    uint8_t reason; /* RefusalReason */
    uint32_t device_tick; /* ticks */
};
uint8_t bw_write_refused(uint8_t *content, const struct bw_refused *message);
enum bw_bad bw_read_refused(struct bw_refused *message, const uint8_t *content, uint8_t content_length);

/* SampleBlock, to the host. Consecutive samples. Each is the crank count (i32) followed by one u16 raw word for each
 * streamed channel. */
#define BW_TYPE_SAMPLE_BLOCK 0x85u
/* Where in the content the samples begin: put there beforehand, with samples pointing to them, they stay. */
#define BW_SAMPLE_BLOCK_SAMPLES_AT 15u
struct bw_sample_block {
    uint16_t sequence;
    uint32_t device_tick; /* ticks */
    uint32_t sample_index;
    uint16_t flags; /* BlockFlags */
    uint8_t sample_count;
    uint8_t channel_count;
    const uint8_t *samples;
    uint8_t samples_length;
};
uint8_t bw_write_sample_block(uint8_t *content, const struct bw_sample_block *message);
enum bw_bad bw_read_sample_block(struct bw_sample_block *message, const uint8_t *content, uint8_t content_length);

/* IndexEvent, to the host. The encoder's index pulse passed. */
#define BW_TYPE_INDEX_EVENT 0x86u
struct bw_index_event {
    uint32_t device_tick; /* ticks */
    int32_t crank_count; /* counts */
    uint16_t index_number;
};
uint8_t bw_write_index_event(uint8_t *content, const struct bw_index_event *message);
enum bw_bad bw_read_index_event(struct bw_index_event *message, const uint8_t *content, uint8_t content_length);

/* Status, to the host. The device's state and link counters. It answers StatusRequest, and comes by itself once a
 * second while streaming (request_id 0) and once at power-up. */
#define BW_TYPE_STATUS 0x87u
struct bw_status {
    uint16_t request_id;
    uint32_t device_tick; /* ticks */
    uint32_t boot_id;
    uint8_t air; /* AirState */
    uint8_t supply; /* SupplyState */
    uint8_t vent; /* VentState */
    uint8_t hold; /* HoldState */
    uint8_t streaming;
    uint16_t opening_id;
    int32_t crank_count; /* counts */
    uint32_t frames_received;
    uint32_t frames_bad;
    uint32_t frames_unknown;
    uint32_t commands_refused;
    uint32_t samples_dropped;
};
uint8_t bw_write_status(uint8_t *content, const struct bw_status *message);
enum bw_bad bw_read_status(struct bw_status *message, const uint8_t *content, uint8_t content_length);

/* AirEvent, to the host. The interlock changed its state. */
#define BW_TYPE_AIR_EVENT 0x88u
struct bw_air_event {
    uint32_t device_tick; /* ticks */
    uint8_t air; /* AirState */
    uint8_t cause; /* Cause */
    uint16_t opening_id;
    int32_t crank_count; /* counts */
};
uint8_t bw_write_air_event(uint8_t *content, const struct bw_air_event *message);
enum bw_bad bw_read_air_event(struct bw_air_event *message, const uint8_t *content, uint8_t content_length);

/* FaultEvent, to the host. The device found a fault. */
#define BW_TYPE_FAULT_EVENT 0x89u
struct bw_fault_event {
    uint32_t device_tick; /* ticks */
    uint8_t fault; /* FaultCode */
    int32_t detail;
};
uint8_t bw_write_fault_event(uint8_t *content, const struct bw_fault_event *message);
enum bw_bad bw_read_fault_event(struct bw_fault_event *message, const uint8_t *content, uint8_t content_length);

/* HoldEvent, to the host. The hold-to-run switch was pressed or let go. */
#define BW_TYPE_HOLD_EVENT 0x8Au
struct bw_hold_event {
    uint32_t device_tick; /* ticks */
    uint8_t hold; /* HoldState */
};
uint8_t bw_write_hold_event(uint8_t *content, const struct bw_hold_event *message);
enum bw_bad bw_read_hold_event(struct bw_hold_event *message, const uint8_t *content, uint8_t content_length);

/* CamEvent, to the host. The cam signal changed its level. */
#define BW_TYPE_CAM_EVENT 0x8Bu
struct bw_cam_event {
    uint32_t device_tick; /* ticks */
    int32_t crank_count; /* counts */
    uint8_t level;
};
uint8_t bw_write_cam_event(uint8_t *content, const struct bw_cam_event *message);
enum bw_bad bw_read_cam_event(struct bw_cam_event *message, const uint8_t *content, uint8_t content_length);

/* SlowReading, to the host. A reading of a channel that is not in the samples; about once a second while streaming. */
#define BW_TYPE_SLOW_READING 0x8Cu
struct bw_slow_reading {
    uint32_t device_tick; /* ticks */
    uint8_t channel;
    uint16_t raw;
};
uint8_t bw_write_slow_reading(uint8_t *content, const struct bw_slow_reading *message);
enum bw_bad bw_read_slow_reading(struct bw_slow_reading *message, const uint8_t *content, uint8_t content_length);

/* EchoReply, to the host. The octets of an EchoRequest. */
#define BW_TYPE_ECHO_REPLY 0x8Du
struct bw_echo_reply {
    uint16_t request_id;
    const uint8_t *octets; /* at most 200 octets */
    uint8_t octets_length;
};
uint8_t bw_write_echo_reply(uint8_t *content, const struct bw_echo_reply *message);
enum bw_bad bw_read_echo_reply(struct bw_echo_reply *message, const uint8_t *content, uint8_t content_length);

#endif
