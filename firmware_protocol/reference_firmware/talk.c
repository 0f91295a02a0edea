/* The conversation. See talk.h. */
#include "talk.h"

#include "../c/bw_messages.h"
#include "air.h"
#include "hal.h"
#include "out.h"
#include "sampler.h"
#include "tell.h"

#define OCTETS_AT_ONCE 64u
#define ALL_TOLD 0xFFu
#define FIRST_TYPE_TO_HOST 0x80u
#define MS_PER_S 1000u

static struct bw_decoder decoder;
static struct talk_counters counters;
static uint32_t boot_id;

/* Identity is followed by the channels, frame by frame. */
static uint16_t identify_request_id;
static uint8_t next_channel;

void talk_start(void)
{
    bw_decoder_start(&decoder);
    counters = (struct talk_counters){0};
    boot_id = hal_boot_id();
    identify_request_id = 0;
    next_channel = ALL_TOLD;
}

uint32_t talk_boot_id(void)
{
    return boot_id;
}

const struct talk_counters *talk_counters(void)
{
    return &counters;
}

/* ---- answers ---- */

static void acknowledge(uint16_t request_id, uint8_t command)
{
    struct bw_ack ack = {.request_id = request_id, .command = command, .device_tick = hal_ticks()};
    out_send(bw_write_ack(out_content(), &ack));
}

static void answer(uint16_t request_id, uint8_t command, uint8_t reason)
{
    if (reason == AIR_NOT_REFUSED) {
        acknowledge(request_id, command);
        return;
    }
    counters.commands_refused++;
    struct bw_refused refused = {
        .request_id = request_id, .command = command, .reason = reason, .device_tick = hal_ticks()};
    out_send(bw_write_refused(out_content(), &refused));
}

static void send_identity(uint16_t request_id)
{
    static const char firmware_version[] = HAL_FIRMWARE_VERSION;
    char serial_number[HAL_SERIAL_NUMBER_MAX];
    struct bw_identity identity = {
        .request_id = request_id,
        .protocol_major = BW_PROTOCOL_MAJOR,
        .protocol_minor = BW_PROTOCOL_MINOR,
        .schema_fingerprint = BW_SCHEMA_FINGERPRINT,
        .firmware_version = (const uint8_t *)firmware_version,
        .firmware_version_length = sizeof firmware_version - 1u,
        .serial_number = (const uint8_t *)serial_number,
        .serial_number_length = hal_serial_number(serial_number, HAL_SERIAL_NUMBER_MAX),
        .boot_id = boot_id,
        .tick_rate_hz = HAL_TICK_RATE_HZ,
        .counts_per_rev = HAL_COUNTS_PER_REV,
        .max_rate_hz = HAL_RATE_MAX_HZ,
        .max_block_size = HAL_BLOCK_MAX,
        .fitted = (HAL_VALVES_FITTED ? BW_FITTED_SUPPLY_VALVE | BW_FITTED_VENT_VALVE : 0u) |
                  (HAL_HOLD_FITTED ? BW_FITTED_HOLD_SWITCH : 0u) | BW_FITTED_SPARE_CHANNEL,
        .channel_count = HAL_STREAMED,
        .streamed_channels = HAL_STREAMED,
    };
    out_send(bw_write_identity(out_content(), &identity));
}

static uint8_t quantity_of(uint8_t channel)
{
    switch (channel) {
    case CHANNEL_REGULATED:
        return BW_QUANTITY_PRESSURE_REGULATED;
    case CHANNEL_CYLINDER:
        return BW_QUANTITY_PRESSURE_CYLINDER;
    default:
        return BW_QUANTITY_PRESSURE_SPARE;
    }
}

bool talk_go_on(void)
{
    if (next_channel == ALL_TOLD) {
        return false;
    }
    struct bw_channel_description description = {
        .request_id = identify_request_id,
        .channel = next_channel,
        .quantity = quantity_of(next_channel),
        .raw_min = 0,
        .raw_max = HAL_RAW_MAX,
        .volts_at_zero = HAL_VOLTS_AT_ZERO,
        .volts_per_raw = HAL_VOLTS_PER_RAW,
        .sensor_supply_volts = HAL_SENSOR_SUPPLY_VOLTS,
    };
    out_send(bw_write_channel_description(out_content(), &description));
    if (++next_channel == HAL_STREAMED) {
        next_channel = ALL_TOLD;
    }
    return true;
}

static void identify(const struct bw_identify_request *request)
{
    if (request->protocol_major != BW_PROTOCOL_MAJOR) {
        answer(request->request_id, BW_TYPE_IDENTIFY_REQUEST, BW_REFUSAL_REASON_VERSION_UNSUPPORTED);
        return;
    }
    identify_request_id = request->request_id;
    next_channel = 0;
    send_identity(request->request_id);
}

static uint8_t start_stream(const struct bw_stream_start *command)
{
    /* a sample each n-th millisecond is all that can be kept exactly */
    if (command->rate_hz == 0 || command->rate_hz > HAL_RATE_MAX_HZ || MS_PER_S % command->rate_hz != 0) {
        return BW_REFUSAL_REASON_RATE_UNSUPPORTED;
    }
    if (command->block_size == 0 || command->block_size > HAL_BLOCK_MAX) {
        return BW_REFUSAL_REASON_BLOCK_TOO_LARGE;
    }
    uint16_t period_ms = (uint16_t)(MS_PER_S / command->rate_hz);
    if (!sampler_runs(period_ms, command->block_size)) {
        /* another stream is the end of the one before, and the watch sees it */
        sampler_stop_stream();
        air_check();
        sampler_start_stream(period_ms, command->block_size);
        tell_stream_started();
    }
    return AIR_NOT_REFUSED;
}

/* ---- commands ---- */

/* A good frame shows that the host is alive, and must do so before the command in it is carried out; but a watch
 * that is true already comes before both. */
static void note_alive(void)
{
    air_check();
    air_heard();
}

static void count_good(void)
{
    counters.frames_received++;
    note_alive();
}

/* Reads the message of that name into `message`, or leaves the function with why it is bad. */
#define READ(name) \
    struct bw_##name message; \
    enum bw_bad bad = bw_read_##name(&message, content, length); \
    if (bad != BW_GOOD) { \
        return bad; \
    } \
    count_good();

static enum bw_bad hear_identify_request(const uint8_t *content, uint8_t length)
{
    READ(identify_request)
    identify(&message);
    return BW_GOOD;
}

static enum bw_bad hear_stream_start(const uint8_t *content, uint8_t length)
{
    READ(stream_start)
    answer(message.request_id, BW_TYPE_STREAM_START, start_stream(&message));
    return BW_GOOD;
}

static enum bw_bad hear_stream_stop(const uint8_t *content, uint8_t length)
{
    READ(stream_stop)
    sampler_stop_stream();
    air_check();
    acknowledge(message.request_id, BW_TYPE_STREAM_STOP);
    return BW_GOOD;
}

static enum bw_bad hear_supply_open(const uint8_t *content, uint8_t length)
{
    READ(supply_open)
    answer(message.request_id, BW_TYPE_SUPPLY_OPEN, air_supply_open(&message));
    return BW_GOOD;
}

static enum bw_bad hear_supply_shut(const uint8_t *content, uint8_t length)
{
    READ(supply_shut)
    answer(message.request_id, BW_TYPE_SUPPLY_SHUT, air_supply_shut(&message));
    return BW_GOOD;
}

static enum bw_bad hear_vent_open(const uint8_t *content, uint8_t length)
{
    READ(vent_open)
    answer(message.request_id, BW_TYPE_VENT_OPEN, air_vent_open());
    return BW_GOOD;
}

static enum bw_bad hear_vent_close(const uint8_t *content, uint8_t length)
{
    READ(vent_close)
    answer(message.request_id, BW_TYPE_VENT_CLOSE, air_vent_close(&message));
    return BW_GOOD;
}

static enum bw_bad hear_status_request(const uint8_t *content, uint8_t length)
{
    READ(status_request)
    tell_status(message.request_id);
    return BW_GOOD;
}

static enum bw_bad hear_echo_request(const uint8_t *content, uint8_t length)
{
    READ(echo_request)
    struct bw_echo_reply reply = {
        .request_id = message.request_id, .octets = message.octets, .octets_length = message.octets_length};
    out_send(bw_write_echo_reply(out_content(), &reply));
    return BW_GOOD;
}

static enum bw_bad hear_host_alive(const uint8_t *content, uint8_t length)
{
    enum bw_bad bad = bw_read_host_alive(content, length);
    if (bad == BW_GOOD) {
        count_good();
    }
    return bad;
}

static enum bw_bad hear_message(const uint8_t *content, uint8_t length)
{
    switch (content[0]) {
    case BW_TYPE_IDENTIFY_REQUEST:
        return hear_identify_request(content, length);
    case BW_TYPE_STREAM_START:
        return hear_stream_start(content, length);
    case BW_TYPE_STREAM_STOP:
        return hear_stream_stop(content, length);
    case BW_TYPE_SUPPLY_OPEN:
        return hear_supply_open(content, length);
    case BW_TYPE_SUPPLY_SHUT:
        return hear_supply_shut(content, length);
    case BW_TYPE_VENT_OPEN:
        return hear_vent_open(content, length);
    case BW_TYPE_VENT_CLOSE:
        return hear_vent_close(content, length);
    case BW_TYPE_STATUS_REQUEST:
        return hear_status_request(content, length);
    case BW_TYPE_HOST_ALIVE:
        return hear_host_alive(content, length);
    case BW_TYPE_ECHO_REQUEST:
        return hear_echo_request(content, length);
    default:
        /* of a newer minor version, which is a host all the same, or the device's own over a faulty cable */
        counters.frames_unknown++;
        if (content[0] < FIRST_TYPE_TO_HOST) {
            note_alive();
        }
        return BW_GOOD;
    }
}

bool talk_hear(void)
{
    for (uint8_t i = 0; i < OCTETS_AT_ONCE; i++) {
        int16_t octet = hal_receive();
        if (octet < 0) {
            return false;
        }
        enum bw_heard heard = bw_decoder_take(&decoder, (uint8_t)octet);
        if (heard == BW_HEARD_BAD) {
            counters.frames_bad++;
        } else if (heard == BW_HEARD_FRAME) {
            if (hear_message(decoder.content, decoder.content_length) != BW_GOOD && !decoder.before_first_zero) {
                counters.frames_bad++;
            }
            return true;
        }
    }
    return true;
}
