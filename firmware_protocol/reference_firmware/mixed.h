/* How boards make a boot id of the number of resets. Any context. */
#ifndef MIXED_H
#define MIXED_H

#include <stdint.h>

/* Different numbers give different numbers, and only 0 gives 0: each step can be undone. */
static inline uint32_t mixed(uint32_t number)
{
    number ^= number >> 16;
    number *= UINT32_C(0x9E3779B1);
    number ^= number >> 15;
    number *= UINT32_C(0x85EBCA77);
    number ^= number >> 16;
    return number;
}

#endif
