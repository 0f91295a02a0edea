/* The fuzz target, on the PC only. Bit 0 of the first octet says that the device listens. The others are what comes
 * from the line or, with bit 1, a content of which a frame is made first: no fuzzer finds a checksum by itself. What
 * was read must give the same octets when it is written again, and its frame must be heard as the same content;
 * anything else ends the program. */
#include "bw_fields.h"
#include "bw_messages.h"

#include <stddef.h>
#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static void want(bool holds)
{
    if (!holds) {
        abort();
    }
}

#define AGAIN(Name, NAME, name)                                                        \
    case BW_TYPE_##NAME: {                                                             \
        struct bw_##name message;                                                      \
        if (bw_read_##name(&message, content, length) != BW_GOOD) {                    \
            return 0u;                                                                 \
        }                                                                              \
        return bw_write_##name(again, &message);                                       \
    }

#define AGAIN_BARE(Name, NAME, name)                                                   \
    case BW_TYPE_##NAME:                                                               \
        return bw_read_##name(content, length) == BW_GOOD ? bw_write_##name(again) : 0u;

static uint8_t read_and_write(const uint8_t *content, uint8_t length, uint8_t *again)
{
    switch (content[0]) {
        BW_MESSAGES(AGAIN)
        BW_BARE_MESSAGES(AGAIN_BARE)
    default:
        abort();
    }
}

static void hear_again(uint8_t *frame, const uint8_t *content, uint8_t length)
{
    static struct bw_decoder second;
    uint16_t frame_length = bw_frame_close(frame, length);
    want(frame_length == (uint16_t)(length + 5u));
    bw_decoder_start(&second);
    for (uint16_t at = 0u; at + 1u < frame_length; at++) {
        want(bw_decoder_take(&second, frame[at]) == BW_HEARD_NOTHING);
    }
    want(bw_decoder_take(&second, 0u) == BW_HEARD_FRAME);
    want(second.content_length == length && memcmp(second.content, content, length) == 0);
}

static void on_frame(const struct bw_decoder *decoder, bool is_device)
{
    /* copies of their exact length, so that a sanitizer sees a reader that goes past the end */
    uint8_t length = decoder->content_length;
    uint8_t *content = malloc(length);
    uint8_t frame[BW_FRAME_MAX];
    want(content != NULL && length >= 1u && length <= BW_CONTENT_MAX);
    memcpy(content, decoder->content, length);
    if (is_device ? bw_known_to_device(content[0]) : bw_known_to_host(content[0])) {
        uint8_t again_length = read_and_write(content, length, frame + BW_CONTENT_AT);
        if (again_length > 0u) {
            want(again_length == length && memcmp(frame + BW_CONTENT_AT, content, length) == 0);
            /* a message that points into the buffer that it is written to stays what it is */
            want(read_and_write(content, length, content) == length);
            want(memcmp(content, decoder->content, length) == 0);
            hear_again(frame, content, length);
        }
    }
    free(content);
}

static void listen(bool is_device, const uint8_t *octets, size_t count)
{
    static struct bw_decoder decoder;
    bw_decoder_start(&decoder);
    for (size_t at = 0; at < count; at++) {
        enum bw_heard heard = bw_decoder_take(&decoder, octets[at]);
        if (heard == BW_HEARD_FRAME) {
            on_frame(&decoder, is_device);
        }
        want(heard != BW_HEARD_BAD || (decoder.reason >= BW_BAD_TOO_SHORT && decoder.reason <= BW_BAD_CHECKSUM));
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    if (size < 2u) {
        return 0;
    }
    bool is_device = (data[0] & 1u) != 0u;
    if ((data[0] & 2u) == 0u) {
        listen(is_device, data + 1, size - 1u);
    } else if (size - 1u <= BW_CONTENT_MAX) {
        uint8_t frame[BW_FRAME_MAX];
        memcpy(frame + BW_CONTENT_AT, data + 1, size - 1u);
        listen(is_device, frame, bw_frame_close(frame, (uint8_t)(size - 1u)));
    }
    return 0;
}
