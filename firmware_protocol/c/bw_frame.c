/* Frames of the wire: see bw_frame.h, also for the context in which these functions may run. */
#include "bw_frame.h"

#define XOR 0xF5u
#define CHECKSUM_LENGTH 2u
#define STUFFED_MIN 4u

uint16_t bw_crc_step(uint16_t crc, uint8_t octet)
{
    /* the eight shifts of the polynomial 0x1021 at once, in single octets, which is what a small processor has */
    uint8_t x = (uint8_t)((crc >> 8) ^ octet);
    x = (uint8_t)(x ^ (x >> 4));
    uint8_t high = (uint8_t)((crc & 0xFFu) ^ (uint8_t)(x << 4) ^ (x >> 3));
    uint8_t low = (uint8_t)(x ^ (uint8_t)(x << 5));
    return (uint16_t)((uint16_t)((uint16_t)high << 8) | low);
}

static uint16_t crc_of(const uint8_t *octets, uint8_t length)
{
    uint16_t crc = BW_CRC_START;
    while (length-- > 0u) {
        crc = bw_crc_step(crc, *octets++);
    }
    return crc;
}

uint16_t bw_frame_close(uint8_t *frame, uint8_t content_length)
{
    if (content_length < 1u || content_length > BW_CONTENT_MAX) {
        return 0u;
    }
    uint8_t *at = frame + BW_CONTENT_AT;
    uint16_t crc = crc_of(at, content_length);
    at[content_length] = (uint8_t)(crc & 0xFFu);
    at[content_length + 1u] = (uint8_t)(crc >> 8);

    frame[0] = 0u;
    uint8_t *code = frame + 1;
    uint8_t run = 1u; /* the code of the run so far: its length + 1 */
    for (uint8_t left = (uint8_t)(content_length + CHECKSUM_LENGTH); left > 0u; left--, at++) {
        uint8_t octet = (uint8_t)(*at ^ XOR);
        if (octet == 0u) {
            *code = run;
            code = at;
            run = 1u;
        } else {
            *at = octet;
            run++;
        }
    }
    *code = run;
    *at = 0u;
    return (uint16_t)(content_length + 5u);
}

void bw_decoder_start(struct bw_decoder *decoder)
{
    decoder->content = decoder->buffer;
    decoder->content_length = 0u;
    decoder->reason = BW_GOOD;
    decoder->before_first_zero = false;
    decoder->started = false;
    decoder->skipping = false;
    decoder->length = 0u;
}

/* Undoes stuffing and XOR in place, which gives one octet less; false when a code points past the end. So does 0xFF, as a
 * frame has at most 254 octets. */
static bool unstuff(uint8_t *octets, uint8_t length)
{
    uint8_t left = length;
    const uint8_t *from = octets;
    uint8_t *to = octets;
    for (;;) {
        uint8_t code = *from++;
        if (code > left) {
            return false;
        }
        left = (uint8_t)(left - code);
        while (--code > 0u) {
            *to++ = (uint8_t)(*from++ ^ XOR);
        }
        if (left == 0u) {
            return true;
        }
        *to++ = XOR; /* the zero that this code stood for */
    }
}

static enum bw_bad undo(struct bw_decoder *decoder, uint8_t stuffed_length)
{
    if (stuffed_length < STUFFED_MIN) {
        return BW_BAD_TOO_SHORT;
    }
    uint8_t *octets = decoder->buffer;
    if (!unstuff(octets, stuffed_length)) {
        return BW_BAD_STUFFING;
    }
    uint8_t content_length = (uint8_t)(stuffed_length - 1u - CHECKSUM_LENGTH);
    uint16_t crc = crc_of(octets, content_length);
    if (octets[content_length] != (uint8_t)(crc & 0xFFu) || octets[content_length + 1u] != (uint8_t)(crc >> 8)) {
        return BW_BAD_CHECKSUM;
    }
    decoder->content_length = content_length;
    return BW_GOOD;
}

/* Bad before the first zero is a cut frame: silence. */
static enum bw_heard bad(struct bw_decoder *decoder, enum bw_bad reason)
{
    if (!decoder->started) {
        decoder->started = true;
        return BW_HEARD_NOTHING;
    }
    decoder->reason = (uint8_t)reason;
    return BW_HEARD_BAD;
}

static enum bw_heard take_zero(struct bw_decoder *decoder)
{
    uint8_t length = decoder->length;
    decoder->length = 0u;
    if (length == 0u) { /* also the end of what was skipped */
        decoder->skipping = false;
        decoder->started = true;
        return BW_HEARD_NOTHING;
    }
    enum bw_bad reason = undo(decoder, length);
    if (reason != BW_GOOD) {
        return bad(decoder, reason);
    }
    decoder->before_first_zero = !decoder->started;
    decoder->started = true;
    return BW_HEARD_FRAME;
}

enum bw_heard bw_decoder_take(struct bw_decoder *decoder, uint8_t octet)
{
    if (octet == 0u) {
        return take_zero(decoder);
    }
    if (decoder->skipping) {
        return BW_HEARD_NOTHING;
    }
    if (decoder->length == BW_STUFFED_MAX) {
        /* nothing that follows can make this a frame: say so now and keep nothing of it */
        decoder->length = 0u;
        decoder->skipping = true;
        return bad(decoder, BW_BAD_TOO_LONG);
    }
    decoder->buffer[decoder->length++] = octet;
    return BW_HEARD_NOTHING;
}
