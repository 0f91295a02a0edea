/* Small parts of bodies that the functions of bw_messages.c share; for that file alone. They keep nothing and may run
 * in the main loop or in an interrupt. */
#ifndef BW_BODIES_H
#define BW_BODIES_H

#include "bw_frame.h"

#include <string.h>

static inline uint16_t u16_at(const uint8_t *at)
{
    return (uint16_t)(at[0] | (uint16_t)((uint16_t)at[1] << 8));
}

static inline uint32_t u32_at(const uint8_t *at)
{
    return u16_at(at) | ((uint32_t)u16_at(at + 2) << 16);
}

static inline void put_u16(uint8_t *at, uint16_t value)
{
    at[0] = (uint8_t)(value & 0xFFu);
    at[1] = (uint8_t)(value >> 8);
}

static inline void put_u32(uint8_t *at, uint32_t value)
{
    put_u16(at, (uint16_t)(value & 0xFFFFu));
    put_u16(at + 2, (uint16_t)(value >> 16));
}

/* a float of this compiler must be the wire's binary32 */
typedef char bw_float_has_four_octets[sizeof(float) == 4 ? 1 : -1];

static inline float f32_at(const uint8_t *at)
{
    uint32_t bits = u32_at(at);
    float value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static inline uint32_t bits_of(float value)
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    return bits;
}

static inline void put_f32(uint8_t *at, float value)
{
    put_u32(at, bits_of(value));
}

static inline bool is_finite(float value)
{
    return (bits_of(value) & UINT32_C(0x7F800000)) != UINT32_C(0x7F800000);
}

/* also where they stand already: then it changes nothing */
static inline void put_octets(uint8_t *at, const uint8_t *octets, uint8_t length)
{
    while (length-- > 0u) {
        *at++ = *octets++;
    }
}

/* A length and so many octets: finds them, and moves at behind them. */
static inline enum bw_bad take_octets(const uint8_t **octets, uint8_t *length, uint8_t max_length,
                                      const uint8_t **at, const uint8_t *end)
{
    uint8_t left = (uint8_t)(end - *at);
    if (left == 0u) {
        return BW_BAD_LENGTH;
    }
    *length = **at;
    *octets = *at + 1;
    if (*length > max_length) {
        return BW_BAD_VALUE;
    }
    if (*length >= left) {
        return BW_BAD_LENGTH;
    }
    *at = *octets + *length;
    return BW_GOOD;
}

/* UTF-8 in its only form: nothing longer than need be, no surrogates, nothing above U+10FFFF. */
static inline bool is_utf8(const uint8_t *text, uint8_t length)
{
    while (length > 0u) {
        uint8_t first = *text++;
        uint8_t more = 0u;
        uint8_t low = 0x80u; /* bounds of the octet after the first */
        uint8_t high = 0xBFu;
        length--;
        if (first < 0x80u) {
            continue;
        }
        if (first >= 0xC2u && first <= 0xDFu) {
            more = 1u;
        } else if (first >= 0xE0u && first <= 0xEFu) {
            more = 2u;
            low = first == 0xE0u ? 0xA0u : low;
            high = first == 0xEDu ? 0x9Fu : high;
        } else if (first >= 0xF0u && first <= 0xF4u) {
            more = 3u;
            low = first == 0xF0u ? 0x90u : low;
            high = first == 0xF4u ? 0x8Fu : high;
        } else {
            return false;
        }
        if (more > length) {
            return false;
        }
        length = (uint8_t)(length - more);
        while (more-- > 0u) {
            if (*text < low || *text > high) {
                return false;
            }
            low = 0x80u;
            high = 0xBFu;
            text++;
        }
    }
    return true;
}

#endif
