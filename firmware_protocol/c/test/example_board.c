/* A board for the example of README.md, on the PC only: the line is stdin and stdout, and the clock counts turns. */
#include <stdint.h>
#include <stdio.h>

int line_take(void);
void line_put(const uint8_t *octets, uint16_t length);
uint32_t board_ticks(void);
uint32_t board_boot_id(void);
void device_start(void);
void device_poll(void);

static uint32_t ticks;

int line_take(void)
{
    return getchar();
}

void line_put(const uint8_t *octets, uint16_t length)
{
    fwrite(octets, 1, length, stdout);
}

uint32_t board_ticks(void)
{
    return ++ticks;
}

uint32_t board_boot_id(void)
{
    return 4711u;
}

int main(void)
{
    device_start();
    while (!feof(stdin)) {
        device_poll();
    }
    return 0;
}
