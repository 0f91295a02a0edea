/* Frames of the wire (PROTOCOL.md sections 2 and 3): checksum, XOR, byte stuffing, and the decoder that finds frames in
 * a stream of octets. No memory is allocated and nothing is kept outside of the structs that the caller owns, so each
 * function may run in the main loop or in an interrupt, but not in both on the same struct or buffer at a time. */
#ifndef BW_FRAME_H
#define BW_FRAME_H

#include <stdbool.h>
#include <stdint.h>

#define BW_CRC_START 0xFFFFu
#define BW_CONTENT_MAX 251u /* type number and body */
#define BW_PAYLOAD_MAX 253u /* content and checksum */
#define BW_STUFFED_MAX 254u /* between the zeros */
#define BW_FRAME_MAX 256u   /* with both zeros */
#define BW_CONTENT_AT 2u    /* where the content stands in a frame that is being made */

/* What is wrong with a frame. The first four the decoder finds, the others the readers of bw_messages.h. */
enum bw_bad {
    BW_GOOD = 0,
    BW_BAD_TOO_SHORT,
    BW_BAD_TOO_LONG,
    BW_BAD_STUFFING,
    BW_BAD_CHECKSUM,
    BW_BAD_LENGTH,
    BW_BAD_VALUE,
    BW_BAD_RESERVED,
    BW_BAD_TEXT
};

/* What one more octet of the line decided. */
enum bw_heard { BW_HEARD_NOTHING, BW_HEARD_FRAME, BW_HEARD_BAD };

struct bw_decoder {
    uint8_t *content;       /* at BW_HEARD_FRAME: type number and body; good until the next octet is taken */
    uint8_t content_length; /* at BW_HEARD_FRAME: 1 to BW_CONTENT_MAX */
    uint8_t reason;         /* at BW_HEARD_BAD: an enum bw_bad */
    bool before_first_zero; /* at BW_HEARD_FRAME: listening began with this frame; when a reader finds it bad it is a
                             * cut frame, which is thrown away and not counted */
    bool started;           /* a zero, or more than a frame can hold, has gone by */
    bool skipping;          /* too long: everything is dropped up to the next zero */
    uint8_t length;         /* octets collected */
    uint8_t buffer[BW_STUFFED_MAX];
};

/* CRC-16/IBM-3740 of one more octet; begin with BW_CRC_START. */
uint16_t bw_crc_step(uint16_t crc, uint8_t octet);

/* Makes a frame in place. The content, content_length octets of it, stands at frame + BW_CONTENT_AT; the buffer must
 * have room for content_length + 5 octets. Returns the octets of the whole frame, which begins at frame and has both
 * zeros. A content_length outside 1 to BW_CONTENT_MAX gives 0 and changes nothing, so what a writer of bw_messages.h
 * returned may be handed on unseen. */
uint16_t bw_frame_close(uint8_t *frame, uint8_t content_length);

/* Begins listening. What stands before the first zero is thrown away silently unless it is a good frame. */
void bw_decoder_start(struct bw_decoder *decoder);

/* Takes the next octet of the line and says what it decided. */
enum bw_heard bw_decoder_take(struct bw_decoder *decoder, uint8_t octet);

#endif
