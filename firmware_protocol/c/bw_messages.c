/* The messages of the wire: see bw_messages.h, also for the context in which these functions may run.
 * GENERATED from messages.toml by borewire.generate: change the table, not this file.
 *
 * One function for each message and direction, so that a linker that drops unused sections keeps only what a firmware
 * calls. */
#include "bw_messages.h"

#include "bw_bodies.h"

bool bw_known_to_device(uint8_t type)
{
    switch (type) {
    case BW_TYPE_IDENTIFY_REQUEST:
    case BW_TYPE_STREAM_START:
    case BW_TYPE_STREAM_STOP:
    case BW_TYPE_SUPPLY_OPEN:
    case BW_TYPE_SUPPLY_SHUT:
    case BW_TYPE_VENT_OPEN:
    case BW_TYPE_VENT_CLOSE:
    case BW_TYPE_STATUS_REQUEST:
    case BW_TYPE_HOST_ALIVE:
    case BW_TYPE_ECHO_REQUEST:
        return true;
    default:
        return false;
    }
}

bool bw_known_to_host(uint8_t type)
{
    switch (type) {
    case BW_TYPE_IDENTITY:
    case BW_TYPE_CHANNEL_DESCRIPTION:
    case BW_TYPE_ACK:
    case BW_TYPE_REFUSED:
    case BW_TYPE_SAMPLE_BLOCK:
    case BW_TYPE_INDEX_EVENT:
    case BW_TYPE_STATUS:
    case BW_TYPE_AIR_EVENT:
    case BW_TYPE_FAULT_EVENT:
    case BW_TYPE_HOLD_EVENT:
    case BW_TYPE_CAM_EVENT:
    case BW_TYPE_SLOW_READING:
    case BW_TYPE_ECHO_REPLY:
        return true;
    default:
        return false;
    }
}

uint8_t bw_write_identify_request(uint8_t *content, const struct bw_identify_request *message)
{
    content[0] = BW_TYPE_IDENTIFY_REQUEST;
    put_u16(content + 1, message->request_id);
    content[3] = message->protocol_major;
    content[4] = message->protocol_minor;
    return 5u;
}

enum bw_bad bw_read_identify_request(struct bw_identify_request *message, const uint8_t *content,
                                     uint8_t content_length)
{
    if (content_length != 5u) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(content + 1);
    message->protocol_major = content[3];
    message->protocol_minor = content[4];
    return BW_GOOD;
}

uint8_t bw_write_stream_start(uint8_t *content, const struct bw_stream_start *message)
{
    content[0] = BW_TYPE_STREAM_START;
    put_u16(content + 1, message->request_id);
    put_u16(content + 3, message->rate_hz);
    content[5] = message->block_size;
    return 6u;
}

enum bw_bad bw_read_stream_start(struct bw_stream_start *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 6u) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(content + 1);
    message->rate_hz = u16_at(content + 3);
    message->block_size = content[5];
    return BW_GOOD;
}

uint8_t bw_write_stream_stop(uint8_t *content, const struct bw_stream_stop *message)
{
    content[0] = BW_TYPE_STREAM_STOP;
    put_u16(content + 1, message->request_id);
    return 3u;
}

enum bw_bad bw_read_stream_stop(struct bw_stream_stop *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 3u) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(content + 1);
    return BW_GOOD;
}

uint8_t bw_write_supply_open(uint8_t *content, const struct bw_supply_open *message)
{
    content[0] = BW_TYPE_SUPPLY_OPEN;
    put_u16(content + 1, message->request_id);
    put_u16(content + 3, message->opening_id);
    put_u16(content + 5, message->time_limit_ms);
    put_u32(content + 7, (uint32_t)message->window_low_count);
    put_u32(content + 11, (uint32_t)message->window_high_count);
    put_u16(content + 15, message->limit_regulated_raw);
    put_u16(content + 17, message->limit_cylinder_raw);
    return 19u;
}

enum bw_bad bw_read_supply_open(struct bw_supply_open *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 19u) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(content + 1);
    message->opening_id = u16_at(content + 3);
    message->time_limit_ms = u16_at(content + 5);
    message->window_low_count = (int32_t)u32_at(content + 7);
    message->window_high_count = (int32_t)u32_at(content + 11);
    message->limit_regulated_raw = u16_at(content + 15);
    message->limit_cylinder_raw = u16_at(content + 17);
    return BW_GOOD;
}

uint8_t bw_write_supply_shut(uint8_t *content, const struct bw_supply_shut *message)
{
    content[0] = BW_TYPE_SUPPLY_SHUT;
    put_u16(content + 1, message->request_id);
    put_u32(content + 3, message->isolate_ms);
    return 7u;
}

enum bw_bad bw_read_supply_shut(struct bw_supply_shut *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 7u) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(content + 1);
    message->isolate_ms = u32_at(content + 3);
    return BW_GOOD;
}

uint8_t bw_write_vent_open(uint8_t *content, const struct bw_vent_open *message)
{
    content[0] = BW_TYPE_VENT_OPEN;
    put_u16(content + 1, message->request_id);
    return 3u;
}

enum bw_bad bw_read_vent_open(struct bw_vent_open *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 3u) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(content + 1);
    return BW_GOOD;
}

uint8_t bw_write_vent_close(uint8_t *content, const struct bw_vent_close *message)
{
    content[0] = BW_TYPE_VENT_CLOSE;
    put_u16(content + 1, message->request_id);
    put_u32(content + 3, message->time_limit_ms);
    put_u16(content + 7, message->limit_cylinder_raw);
    return 9u;
}

enum bw_bad bw_read_vent_close(struct bw_vent_close *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 9u) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(content + 1);
    message->time_limit_ms = u32_at(content + 3);
    message->limit_cylinder_raw = u16_at(content + 7);
    return BW_GOOD;
}

uint8_t bw_write_status_request(uint8_t *content, const struct bw_status_request *message)
{
    content[0] = BW_TYPE_STATUS_REQUEST;
    put_u16(content + 1, message->request_id);
    return 3u;
}

enum bw_bad bw_read_status_request(struct bw_status_request *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 3u) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(content + 1);
    return BW_GOOD;
}

uint8_t bw_write_host_alive(uint8_t *content)
{
    content[0] = BW_TYPE_HOST_ALIVE;
    return 1u;
}

enum bw_bad bw_read_host_alive(const uint8_t *content, uint8_t content_length)
{
    (void)content;
    return content_length == 1u ? BW_GOOD : BW_BAD_LENGTH;
}

static enum bw_bad check_echo_request(const struct bw_echo_request *message)
{
    if (message->octets_length > 200u) {
        return BW_BAD_VALUE;
    }
    return BW_GOOD;
}

uint8_t bw_write_echo_request(uint8_t *content, const struct bw_echo_request *message)
{
    if (check_echo_request(message) != BW_GOOD) {
        return 0u;
    }
    content[0] = BW_TYPE_ECHO_REQUEST;
    put_u16(content + 1, message->request_id);
    content[3] = message->octets_length;
    put_octets(content + 4, message->octets, message->octets_length);
    return (uint8_t)(4u + message->octets_length);
}

enum bw_bad bw_read_echo_request(struct bw_echo_request *message, const uint8_t *content, uint8_t content_length)
{
    const uint8_t *at = content + 1;
    const uint8_t *end = content + content_length;
    enum bw_bad reason;
    if (end - at < 2) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(at);
    at += 2;
    reason = take_octets(&message->octets, &message->octets_length, 200u, &at, end);
    if (reason != BW_GOOD) {
        return reason;
    }
    if (at != end) {
        return BW_BAD_LENGTH;
    }
    return check_echo_request(message);
}

static enum bw_bad check_identity(const struct bw_identity *message)
{
    if (message->firmware_version_length > 64u) {
        return BW_BAD_VALUE;
    }
    if (message->serial_number_length > 64u) {
        return BW_BAD_VALUE;
    }
    if ((message->fitted & UINT16_C(0xFF80)) != 0u) {
        return BW_BAD_RESERVED;
    }
    if (!is_utf8(message->firmware_version, message->firmware_version_length)) {
        return BW_BAD_TEXT;
    }
    if (!is_utf8(message->serial_number, message->serial_number_length)) {
        return BW_BAD_TEXT;
    }
    return BW_GOOD;
}

uint8_t bw_write_identity(uint8_t *content, const struct bw_identity *message)
{
    if (check_identity(message) != BW_GOOD) {
        return 0u;
    }
    content[0] = BW_TYPE_IDENTITY;
    put_u16(content + 1, message->request_id);
    content[3] = message->protocol_major;
    content[4] = message->protocol_minor;
    put_u32(content + 5, message->schema_fingerprint);
    content[9] = message->firmware_version_length;
    put_octets(content + 10, message->firmware_version, message->firmware_version_length);
    uint8_t *at = content + 10u + message->firmware_version_length;
    at[0] = message->serial_number_length;
    put_octets(at + 1, message->serial_number, message->serial_number_length);
    at = at + 1u + message->serial_number_length;
    put_u32(at, message->boot_id);
    put_u32(at + 4, message->tick_rate_hz);
    put_u32(at + 8, message->counts_per_rev);
    put_u16(at + 12, message->max_rate_hz);
    at[14] = message->max_block_size;
    put_u16(at + 15, message->fitted);
    at[17] = message->channel_count;
    at[18] = message->streamed_channels;
    return (uint8_t)((at - content) + 19);
}

enum bw_bad bw_read_identity(struct bw_identity *message, const uint8_t *content, uint8_t content_length)
{
    const uint8_t *at = content + 1;
    const uint8_t *end = content + content_length;
    enum bw_bad reason;
    if (end - at < 8) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(at);
    message->protocol_major = at[2];
    message->protocol_minor = at[3];
    message->schema_fingerprint = u32_at(at + 4);
    at += 8;
    reason = take_octets(&message->firmware_version, &message->firmware_version_length, 64u, &at, end);
    if (reason != BW_GOOD) {
        return reason;
    }
    reason = take_octets(&message->serial_number, &message->serial_number_length, 64u, &at, end);
    if (reason != BW_GOOD) {
        return reason;
    }
    if (end - at < 19) {
        return BW_BAD_LENGTH;
    }
    message->boot_id = u32_at(at);
    message->tick_rate_hz = u32_at(at + 4);
    message->counts_per_rev = u32_at(at + 8);
    message->max_rate_hz = u16_at(at + 12);
    message->max_block_size = at[14];
    message->fitted = u16_at(at + 15);
    message->channel_count = at[17];
    message->streamed_channels = at[18];
    at += 19;
    if (at != end) {
        return BW_BAD_LENGTH;
    }
    return check_identity(message);
}

static enum bw_bad check_channel_description(const struct bw_channel_description *message)
{
    if (message->quantity > 5u) {
        return BW_BAD_VALUE;
    }
    if (!is_finite(message->volts_at_zero)) {
        return BW_BAD_VALUE;
    }
    if (!is_finite(message->volts_per_raw)) {
        return BW_BAD_VALUE;
    }
    if (!is_finite(message->sensor_supply_volts)) {
        return BW_BAD_VALUE;
    }
    return BW_GOOD;
}

uint8_t bw_write_channel_description(uint8_t *content, const struct bw_channel_description *message)
{
    if (check_channel_description(message) != BW_GOOD) {
        return 0u;
    }
    content[0] = BW_TYPE_CHANNEL_DESCRIPTION;
    put_u16(content + 1, message->request_id);
    content[3] = message->channel;
    content[4] = message->quantity;
    put_u16(content + 5, message->raw_min);
    put_u16(content + 7, message->raw_max);
    put_f32(content + 9, message->volts_at_zero);
    put_f32(content + 13, message->volts_per_raw);
    put_f32(content + 17, message->sensor_supply_volts);
    return 21u;
}

enum bw_bad bw_read_channel_description(struct bw_channel_description *message, const uint8_t *content,
                                        uint8_t content_length)
{
    if (content_length != 21u) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(content + 1);
    message->channel = content[3];
    message->quantity = content[4];
    message->raw_min = u16_at(content + 5);
    message->raw_max = u16_at(content + 7);
    message->volts_at_zero = f32_at(content + 9);
    message->volts_per_raw = f32_at(content + 13);
    message->sensor_supply_volts = f32_at(content + 17);
    return check_channel_description(message);
}

uint8_t bw_write_ack(uint8_t *content, const struct bw_ack *message)
{
    content[0] = BW_TYPE_ACK;
    put_u16(content + 1, message->request_id);
    content[3] = message->command;
    put_u32(content + 4, message->device_tick);
    return 8u;
}

enum bw_bad bw_read_ack(struct bw_ack *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 8u) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(content + 1);
    message->command = content[3];
    message->device_tick = u32_at(content + 4);
    return BW_GOOD;
}

static enum bw_bad check_refused(const struct bw_refused *message)
{
    if (message->reason > 11u) {
        return BW_BAD_VALUE;
    }
    return BW_GOOD;
}

uint8_t bw_write_refused(uint8_t *content, const struct bw_refused *message)
{
    if (check_refused(message) != BW_GOOD) {
        return 0u;
    }
    content[0] = BW_TYPE_REFUSED;
    put_u16(content + 1, message->request_id);
    content[3] = message->command;
    content[4] = message->reason;
    put_u32(content + 5, message->device_tick);
    return 9u;
}

enum bw_bad bw_read_refused(struct bw_refused *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 9u) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(content + 1);
    message->command = content[3];
    message->reason = content[4];
    message->device_tick = u32_at(content + 5);
    return check_refused(message);
}

static enum bw_bad check_sample_block(const struct bw_sample_block *message)
{
    if ((message->flags & UINT16_C(0xFF80)) != 0u) {
        return BW_BAD_RESERVED;
    }
    if (message->sample_count < 1u) {
        return BW_BAD_VALUE;
    }
    if (message->channel_count < 1u) {
        return BW_BAD_VALUE;
    }
    if (message->samples_length > 236u) {
        return BW_BAD_LENGTH;
    }
    if (message->samples_length != (uint32_t)message->sample_count * (4u + 2u * (uint32_t)message->channel_count)) {
        return BW_BAD_LENGTH;
    }
    return BW_GOOD;
}

uint8_t bw_write_sample_block(uint8_t *content, const struct bw_sample_block *message)
{
    if (check_sample_block(message) != BW_GOOD) {
        return 0u;
    }
    content[0] = BW_TYPE_SAMPLE_BLOCK;
    put_u16(content + 1, message->sequence);
    put_u32(content + 3, message->device_tick);
    put_u32(content + 7, message->sample_index);
    put_u16(content + 11, message->flags);
    content[13] = message->sample_count;
    content[14] = message->channel_count;
    put_octets(content + 15, message->samples, message->samples_length);
    return (uint8_t)(15u + message->samples_length);
}

enum bw_bad bw_read_sample_block(struct bw_sample_block *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length < 15u) {
        return BW_BAD_LENGTH;
    }
    message->sequence = u16_at(content + 1);
    message->device_tick = u32_at(content + 3);
    message->sample_index = u32_at(content + 7);
    message->flags = u16_at(content + 11);
    message->sample_count = content[13];
    message->channel_count = content[14];
    message->samples = content + 15;
    message->samples_length = (uint8_t)(content_length - 15u);
    return check_sample_block(message);
}

uint8_t bw_write_index_event(uint8_t *content, const struct bw_index_event *message)
{
    content[0] = BW_TYPE_INDEX_EVENT;
    put_u32(content + 1, message->device_tick);
    put_u32(content + 5, (uint32_t)message->crank_count);
    put_u16(content + 9, message->index_number);
    return 11u;
}

enum bw_bad bw_read_index_event(struct bw_index_event *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 11u) {
        return BW_BAD_LENGTH;
    }
    message->device_tick = u32_at(content + 1);
    message->crank_count = (int32_t)u32_at(content + 5);
    message->index_number = u16_at(content + 9);
    return BW_GOOD;
}

static enum bw_bad check_status(const struct bw_status *message)
{
    if (message->air > 4u) {
        return BW_BAD_VALUE;
    }
    if (message->supply > 2u) {
        return BW_BAD_VALUE;
    }
    if (message->vent > 2u) {
        return BW_BAD_VALUE;
    }
    if (message->hold > 2u) {
        return BW_BAD_VALUE;
    }
    if (message->streaming > 1u) {
        return BW_BAD_VALUE;
    }
    return BW_GOOD;
}

uint8_t bw_write_status(uint8_t *content, const struct bw_status *message)
{
    if (check_status(message) != BW_GOOD) {
        return 0u;
    }
    content[0] = BW_TYPE_STATUS;
    put_u16(content + 1, message->request_id);
    put_u32(content + 3, message->device_tick);
    put_u32(content + 7, message->boot_id);
    content[11] = message->air;
    content[12] = message->supply;
    content[13] = message->vent;
    content[14] = message->hold;
    content[15] = message->streaming;
    put_u16(content + 16, message->opening_id);
    put_u32(content + 18, (uint32_t)message->crank_count);
    put_u32(content + 22, message->frames_received);
    put_u32(content + 26, message->frames_bad);
    put_u32(content + 30, message->frames_unknown);
    put_u32(content + 34, message->commands_refused);
    put_u32(content + 38, message->samples_dropped);
    return 42u;
}

enum bw_bad bw_read_status(struct bw_status *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 42u) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(content + 1);
    message->device_tick = u32_at(content + 3);
    message->boot_id = u32_at(content + 7);
    message->air = content[11];
    message->supply = content[12];
    message->vent = content[13];
    message->hold = content[14];
    message->streaming = content[15];
    message->opening_id = u16_at(content + 16);
    message->crank_count = (int32_t)u32_at(content + 18);
    message->frames_received = u32_at(content + 22);
    message->frames_bad = u32_at(content + 26);
    message->frames_unknown = u32_at(content + 30);
    message->commands_refused = u32_at(content + 34);
    message->samples_dropped = u32_at(content + 38);
    return check_status(message);
}

static enum bw_bad check_air_event(const struct bw_air_event *message)
{
    if (message->air > 4u) {
        return BW_BAD_VALUE;
    }
    if (message->cause > 12u) {
        return BW_BAD_VALUE;
    }
    return BW_GOOD;
}

uint8_t bw_write_air_event(uint8_t *content, const struct bw_air_event *message)
{
    if (check_air_event(message) != BW_GOOD) {
        return 0u;
    }
    content[0] = BW_TYPE_AIR_EVENT;
    put_u32(content + 1, message->device_tick);
    content[5] = message->air;
    content[6] = message->cause;
    put_u16(content + 7, message->opening_id);
    put_u32(content + 9, (uint32_t)message->crank_count);
    return 13u;
}

enum bw_bad bw_read_air_event(struct bw_air_event *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 13u) {
        return BW_BAD_LENGTH;
    }
    message->device_tick = u32_at(content + 1);
    message->air = content[5];
    message->cause = content[6];
    message->opening_id = u16_at(content + 7);
    message->crank_count = (int32_t)u32_at(content + 9);
    return check_air_event(message);
}

static enum bw_bad check_fault_event(const struct bw_fault_event *message)
{
    if (message->fault > 6u) {
        return BW_BAD_VALUE;
    }
    return BW_GOOD;
}

uint8_t bw_write_fault_event(uint8_t *content, const struct bw_fault_event *message)
{
    if (check_fault_event(message) != BW_GOOD) {
        return 0u;
    }
    content[0] = BW_TYPE_FAULT_EVENT;
    put_u32(content + 1, message->device_tick);
    content[5] = message->fault;
    put_u32(content + 6, (uint32_t)message->detail);
    return 10u;
}

enum bw_bad bw_read_fault_event(struct bw_fault_event *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 10u) {
        return BW_BAD_LENGTH;
    }
    message->device_tick = u32_at(content + 1);
    message->fault = content[5];
    message->detail = (int32_t)u32_at(content + 6);
    return check_fault_event(message);
}

static enum bw_bad check_hold_event(const struct bw_hold_event *message)
{
    if (message->hold > 2u) {
        return BW_BAD_VALUE;
    }
    return BW_GOOD;
}

uint8_t bw_write_hold_event(uint8_t *content, const struct bw_hold_event *message)
{
    if (check_hold_event(message) != BW_GOOD) {
        return 0u;
    }
    content[0] = BW_TYPE_HOLD_EVENT;
    put_u32(content + 1, message->device_tick);
    content[5] = message->hold;
    return 6u;
}

enum bw_bad bw_read_hold_event(struct bw_hold_event *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 6u) {
        return BW_BAD_LENGTH;
    }
    message->device_tick = u32_at(content + 1);
    message->hold = content[5];
    return check_hold_event(message);
}

static enum bw_bad check_cam_event(const struct bw_cam_event *message)
{
    if (message->level > 1u) {
        return BW_BAD_VALUE;
    }
    return BW_GOOD;
}

uint8_t bw_write_cam_event(uint8_t *content, const struct bw_cam_event *message)
{
    if (check_cam_event(message) != BW_GOOD) {
        return 0u;
    }
    content[0] = BW_TYPE_CAM_EVENT;
    put_u32(content + 1, message->device_tick);
    put_u32(content + 5, (uint32_t)message->crank_count);
    content[9] = message->level;
    return 10u;
}

enum bw_bad bw_read_cam_event(struct bw_cam_event *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 10u) {
        return BW_BAD_LENGTH;
    }
    message->device_tick = u32_at(content + 1);
    message->crank_count = (int32_t)u32_at(content + 5);
    message->level = content[9];
    return check_cam_event(message);
}

uint8_t bw_write_slow_reading(uint8_t *content, const struct bw_slow_reading *message)
{
    content[0] = BW_TYPE_SLOW_READING;
    put_u32(content + 1, message->device_tick);
    content[5] = message->channel;
    put_u16(content + 6, message->raw);
    return 8u;
}

enum bw_bad bw_read_slow_reading(struct bw_slow_reading *message, const uint8_t *content, uint8_t content_length)
{
    if (content_length != 8u) {
        return BW_BAD_LENGTH;
    }
    message->device_tick = u32_at(content + 1);
    message->channel = content[5];
    message->raw = u16_at(content + 6);
    return BW_GOOD;
}

static enum bw_bad check_echo_reply(const struct bw_echo_reply *message)
{
    if (message->octets_length > 200u) {
        return BW_BAD_VALUE;
    }
    return BW_GOOD;
}

uint8_t bw_write_echo_reply(uint8_t *content, const struct bw_echo_reply *message)
{
    if (check_echo_reply(message) != BW_GOOD) {
        return 0u;
    }
    content[0] = BW_TYPE_ECHO_REPLY;
    put_u16(content + 1, message->request_id);
    content[3] = message->octets_length;
    put_octets(content + 4, message->octets, message->octets_length);
    return (uint8_t)(4u + message->octets_length);
}

enum bw_bad bw_read_echo_reply(struct bw_echo_reply *message, const uint8_t *content, uint8_t content_length)
{
    const uint8_t *at = content + 1;
    const uint8_t *end = content + content_length;
    enum bw_bad reason;
    if (end - at < 2) {
        return BW_BAD_LENGTH;
    }
    message->request_id = u16_at(at);
    at += 2;
    reason = take_octets(&message->octets, &message->octets_length, 200u, &at, end);
    if (reason != BW_GOOD) {
        return reason;
    }
    if (at != end) {
        return BW_BAD_LENGTH;
    }
    return check_echo_reply(message);
}
