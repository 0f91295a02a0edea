/* The PC as a board: the same firmware as a child process in virtual time, driven over the bench pipe.
 *
 *     firmware [--eeprom FILE] [--first-tick TICK]
 *
 * --eeprom: what is kept over resets (hal_host_saved.c). --first-tick: what hal_ticks says at each reset.
 *
 * Everything runs in one thread: an interrupt is a call that takes no time, and after each of them the main loop
 * runs, in no time either, until it idles. So there is nothing to lock, and busy_cycles is always 0. A reset calls
 * app_start, which gives the firmware's variables their first values itself.
 */
#include <string.h>

#include "hal.h"
#include "hal_host.h"

#define CONVERSION_CYCLES 1000u                   /* 62.5 us */
#define WATCHDOG_CYCLES (BENCH_CLOCK_HZ / 1000u * 64u)
#define CYCLES_PER_TICK (BENCH_CLOCK_HZ / HAL_TICK_RATE_HZ)
#define POLLS_MAX 100000u

static struct bench_request request;
static struct bench_answer answer;

static uint32_t first_tick;
static uint64_t cycle, step_cycle, reset_cycle, petted_cycle, next_conversion_cycle;
static bool in_reset, hung, idle;
static uint8_t level[BENCH_PINS];
static uint8_t outputs;
static uint16_t codes[HAL_CHANNELS] = {0, 0, 0, BENCH_SUPPLY_CODE};
static uint16_t code_started; /* of the conversion that is going on */
static uint8_t channel_started;

/* ---- asked by the firmware ---- */

uint32_t hal_ticks(void)
{
    return first_tick + (uint32_t)((cycle - reset_cycle) / CYCLES_PER_TICK);
}

static void drive(uint8_t wanted)
{
    if (wanted != outputs) {
        outputs = wanted;
        bench_tell_outputs(&answer, (uint32_t)(cycle - step_cycle), outputs);
    }
}

void hal_valves(bool supply_energised, bool vent_energised)
{
    drive((uint8_t)((supply_energised ? BENCH_SUPPLY_ENERGISED : 0) | (vent_energised ? BENCH_VENT_ENERGISED : 0)));
}

bool hal_hold_pressed(void)
{
    return level[BENCH_HOLD] != 0;
}

uint8_t hal_encoder_level(void)
{
    return (uint8_t)(level[BENCH_ENCODER_A] | level[BENCH_ENCODER_B] << 1);
}

uint8_t hal_lock(void)
{
    return 0;
}

void hal_unlock(uint8_t before)
{
    (void)before;
}

void hal_watchdog_pet(void)
{
    petted_cycle = cycle;
}

void hal_idle(void)
{
    idle = true; /* octets may be waiting behind a frame that the queue does not take yet: time must pass */
}

/* ---- the chip around it ---- */

static void poll(void)
{
    idle = hung;
    for (uint32_t polls = 0; !idle; polls++) {
        if (polls == POLLS_MAX) {
            bench_broken("the firmware does not come to rest; look for an endless loop.");
        }
        app_poll();
    }
}

static void start_conversion(void)
{
    uint64_t row = (cycle - step_cycle) / BENCH_ROW_CYCLES;
    if (request.op == 'S' && request.code_rows != 0) {
        memcpy(codes, request.codes[row < request.code_rows ? row : request.code_rows - 1u], sizeof codes);
    }
    code_started = codes[channel_started];
    next_conversion_cycle = cycle + CONVERSION_CYCLES;
}

static void end_conversion(void)
{
    uint8_t channel = channel_started;
    uint16_t code = code_started;
    channel_started = (uint8_t)((channel_started + 1u) % HAL_CHANNELS);
    start_conversion();
    app_on_conversion(channel, code);
}

static void begin_reset(void)
{
    answer.resets++;
    in_reset = true;
    hung = false;
    drive(0);
    line_reset(cycle);
}

static void end_reset(void)
{
    in_reset = false;
    reset_cycle = petted_cycle = cycle;
    channel_started = 0;
    start_conversion();
    app_start();
    poll();
}

/* All changes of the step from that one on that are due now, and then the interrupts, as the microcontroller has
 * them: it sees levels, and two wires that change at once give one interrupt. Returns the first change that is not
 * due yet. */
static uint16_t change_pins(uint16_t from)
{
    bool edge = false, index = false;
    uint16_t at = from;
    for (; at < request.pin_count && step_cycle + request.pins[at].offset_cycles == cycle; at++) {
        const struct bench_pin_change *change = &request.pins[at];
        bool changed = level[change->pin] != change->level;
        level[change->pin] = change->level;
        edge = edge || (changed && (change->pin == BENCH_ENCODER_A || change->pin == BENCH_ENCODER_B));
        index = index || (changed && change->pin == BENCH_INDEX && change->level != 0);
    }
    if (edge && !in_reset) {
        app_on_edge(hal_encoder_level());
    }
    if (index && !in_reset) {
        app_on_index();
    }
    return at;
}

static uint64_t earlier(uint64_t one, uint64_t other)
{
    return one < other ? one : other;
}

/* Lets the time of the request pass. */
static void run(uint64_t duration)
{
    uint64_t end = step_cycle + duration;
    uint16_t pins = 0;
    for (;;) {
        uint64_t pin_cycle = pins < request.pin_count ? step_cycle + request.pins[pins].offset_cycles : UINT64_MAX;
        uint64_t chip_cycle =
            in_reset ? UINT64_MAX : earlier(next_conversion_cycle, petted_cycle + WATCHDOG_CYCLES);
        uint64_t next = earlier(earlier(pin_cycle, chip_cycle), line_next_cycle());
        if (next >= end) {
            break;
        }
        cycle = next;
        pins = change_pins(pins);
        line_run(cycle, !in_reset, &answer);
        if (in_reset) {
            continue;
        }
        if (cycle == petted_cycle + WATCHDOG_CYCLES) {
            begin_reset();
            end_reset();
            continue;
        }
        if (cycle == next_conversion_cycle) {
            end_conversion();
        }
        poll();
    }
    cycle = end;
}

static void carry_out(void)
{
    step_cycle = cycle;
    if (request.op == 'S') {
        line_feed(request.rx, request.rx_count, cycle);
        run(request.duration_cycles);
        if (request.code_rows != 0) {
            memcpy(codes, request.codes[request.code_rows - 1u], sizeof codes);
        }
    } else if (request.op == 'R') {
        begin_reset();
        run(request.duration_cycles);
        end_reset();
    } else {
        hung = true;
    }
    answer.cycle_now = cycle;
    bench_send(&answer);
}

int main(int count, char **words)
{
    const char *eeprom = NULL;
    for (int i = 1; i < count; i++) {
        char *end = NULL;
        if (strcmp(words[i], "--eeprom") == 0 && i + 1 < count) {
            eeprom = words[++i];
        } else if (strcmp(words[i], "--first-tick") == 0 && i + 1 < count) {
            first_tick = (uint32_t)strtoul(words[++i], &end, 10);
        }
        if (eeprom != words[i] && (end == NULL || *end != '\0')) {
            bench_broken("usage: firmware [--eeprom FILE] [--first-tick TICK]");
        }
    }
    saved_start(eeprom);
    bench_greet(BENCH_CLOCK_HZ, HAL_BAUD);
    end_reset();
    for (bench_next(&request); request.op != 'Q'; bench_next(&request)) {
        carry_out();
    }
    return 0;
}
