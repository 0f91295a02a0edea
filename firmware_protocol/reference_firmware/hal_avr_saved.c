/* What the microcontroller keeps in its EEPROM: the serial number of the rig and a count of its resets. Main loop only.
 *
 *     0 to 34     serial number: length, 32 octets of text, CRC-16/IBM-3740 of length and text, low octet first;
 *                 written by `make serial`, never by the firmware
 *     64 to 383   64 slots of 5 octets: count of resets, little-endian, and a check octet
 *
 * Each reset writes the slot after the newest, so that a cell of the EEPROM, good for 100 000 writings (data sheet), is
 * written in one of 64 resets. A slot that a power failure left half written fails its check and is passed over; its
 * count was never told to anyone, because it is told only after it has been written.
 */
#include <avr/eeprom.h>
#include <stddef.h>
#include <string.h>

#include "bw_frame.h"
#include "hal.h"
#include "hal_avr.h"
#include "mixed.h"

#define SERIAL_AT 0u
#define SERIAL_BLANK 0xFFu
#define SLOTS_AT 64u
#define SLOTS 64u
#define CHECK_START 0x5Au

struct slot {
    uint8_t count[4];
    uint8_t check;
};

static const void *eeprom_address(uint16_t at)
{
    return (const void *)at;
}

static uint8_t check_of(const struct slot *slot)
{
    return CHECK_START ^ slot->count[0] ^ slot->count[1] ^ slot->count[2] ^ slot->count[3];
}

static uint16_t slot_address(uint8_t number)
{
    return (uint16_t)(SLOTS_AT + number * sizeof(struct slot));
}

uint32_t hal_boot_id(void)
{
    uint32_t newest = 0;
    uint8_t next = 0;
    struct slot slot;
    for (uint8_t i = 0; i < SLOTS; i++) {
        eeprom_read_block(&slot, eeprom_address(slot_address(i)), sizeof(slot));
        uint32_t count;
        memcpy(&count, slot.count, sizeof(count));
        if (slot.check == check_of(&slot) && count >= newest) {
            newest = count;
            next = (uint8_t)((i + 1u) % SLOTS);
        }
    }
    uint32_t count = newest == UINT32_MAX ? 1 : newest + 1u;
    memcpy(slot.count, &count, sizeof(count));
    slot.check = check_of(&slot);
    eeprom_update_block(&slot, (void *)slot_address(next), sizeof(slot));
    eeprom_busy_wait();
    return mixed(count);
}

/* The saved serial number's length, SERIAL_BLANK when none was ever saved, 0 when what is saved fails its check. */
static uint8_t serial_length(void)
{
    uint8_t length = eeprom_read_byte(eeprom_address(SERIAL_AT));
    if (length == SERIAL_BLANK) {
        return SERIAL_BLANK;
    }
    uint16_t crc = BW_CRC_START;
    for (uint8_t i = 0; i <= HAL_SERIAL_NUMBER_MAX; i++) {
        crc = bw_crc_step(crc, eeprom_read_byte(eeprom_address(SERIAL_AT + i)));
    }
    uint16_t saved = eeprom_read_word(eeprom_address(SERIAL_AT + 1u + HAL_SERIAL_NUMBER_MAX));
    return saved == crc && length <= HAL_SERIAL_NUMBER_MAX ? length : 0;
}

uint8_t hal_serial_number(char *text, uint8_t longest)
{
    static const char unset[] = "unset";
    uint8_t length = serial_length();
    bool saved = length != 0 && length != SERIAL_BLANK;
    if (!saved) {
        length = sizeof(unset) - 1u;
    }
    if (length > longest) {
        length = longest;
    }
    if (saved) {
        eeprom_read_block(text, eeprom_address(SERIAL_AT + 1u), length);
    } else {
        memcpy(text, unset, length);
    }
    return length;
}

uint8_t hal_memory_fault(void)
{
    if (!stack_guard_sound()) {
        return 1;
    }
    return serial_length() == 0 ? 2 : 0;
}
