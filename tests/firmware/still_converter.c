/* A board whose converter stands still after a while: does the main loop go on petting the watchdog? Prints how
 * often it was petted while conversions came, and while none came. Runs on the PC only. */
#include <stdio.h>

#include "hal.h"

static unsigned petted;

uint32_t hal_ticks(void) { return 0; }
void hal_valves(bool supply_energised, bool vent_energised) { (void)supply_energised, (void)vent_energised; }
bool hal_hold_pressed(void) { return false; }
uint8_t hal_encoder_level(void) { return 0; }
uint8_t hal_lock(void) { return 0; }
void hal_unlock(uint8_t before) { (void)before; }
bool hal_send(const uint8_t *octets, uint16_t length) { return octets != NULL && length != 0; }
uint16_t hal_send_room(void) { return 256; }
int16_t hal_receive(void) { return -1; }
uint32_t hal_boot_id(void) { return 1; }
uint8_t hal_serial_number(char *text, uint8_t longest) { (void)text, (void)longest; return 0; }
uint8_t hal_memory_fault(void) { return 0; }
void hal_watchdog_pet(void) { petted++; }
void hal_idle(void) {}

int main(void)
{
    app_start();
    for (unsigned round = 0; round < 1000; round++) {
        for (uint8_t channel = 0; channel < HAL_CHANNELS; channel++) {
            app_on_conversion(channel, 300);
            app_poll();
        }
    }
    printf("%u\n", petted);
    petted = 0;
    for (unsigned poll = 0; poll < 100000; poll++) {
        app_poll();
    }
    printf("%u\n", petted);
    return 0;
}
