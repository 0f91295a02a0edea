/* Runs the codec for the tests in tests/wire, on the PC only: takes lines from stdin, answers each on stdout.
 *
 *     start device|host   begins listening on that side; no answer
 *     feed HEX            what the decoder made of these octets, one line each: a message, "unknown TYPE HEX" or
 *                         "bad REASON"; then a line "."
 *     say MESSAGE         the frame of the message in hex, or "refused" when its writer gave none
 *     close HEX           the frame of this content in hex, or "refused" when none can be made
 *     interlock           the rows of bw_interlock.h, one line each
 *
 * Messages are written as message_text.h says. A line that is none of these ends it with exit code 2. */
#include "bw_interlock.h"
#include "message_text.h"

#include <stdlib.h>
#include <string.h>

#define LINE_MAX_OCTETS 65536

static const char *const reasons[] = {
    [BW_BAD_TOO_SHORT] = "too_short",
    [BW_BAD_TOO_LONG] = "too_long",
    [BW_BAD_STUFFING] = "stuffing",
    [BW_BAD_CHECKSUM] = "checksum",
    [BW_BAD_LENGTH] = "length",
    [BW_BAD_VALUE] = "value",
    [BW_BAD_RESERVED] = "reserved",
    [BW_BAD_TEXT] = "text",
};

static struct bw_decoder decoder;
static bool is_device;

static void on_frame(void)
{
    const uint8_t *content = decoder.content;
    uint8_t length = decoder.content_length;
    if (!(is_device ? bw_known_to_device(content[0]) : bw_known_to_host(content[0]))) {
        printf("unknown %u ", (unsigned)content[0]);
        show_hex(stdout, content + 1, (size_t)length - 1u);
        putchar('\n');
        return;
    }
    enum bw_bad reason = show_message(stdout, content, length);
    if (reason != BW_GOOD && !decoder.before_first_zero) {
        printf("bad %s\n", reasons[reason]);
    }
}

static void feed(const char *hex)
{
    uint8_t octet;
    while (octets_of_hex(&hex, &octet, 1u) == 1u) {
        switch (bw_decoder_take(&decoder, octet)) {
        case BW_HEARD_NOTHING:
            break;
        case BW_HEARD_FRAME:
            on_frame();
            break;
        case BW_HEARD_BAD:
            printf("bad %s\n", reasons[decoder.reason]);
            break;
        }
    }
    puts(".");
}

static void show_closed(uint8_t *frame, uint8_t content_length)
{
    uint16_t length = bw_frame_close(frame, content_length);
    if (length == 0u) {
        puts("refused");
    } else {
        show_hex(stdout, frame, length);
        putchar('\n');
    }
}

static bool say(const char *message)
{
    uint8_t frame[BW_FRAME_MAX];
    uint8_t content_length = 0u;
    if (!message_of_line(message, frame + BW_CONTENT_AT, &content_length)) {
        return false;
    }
    show_closed(frame, content_length);
    return true;
}

static void close_content(const char *hex)
{
    uint8_t frame[BW_CONTENT_AT + 255u];
    show_closed(frame, (uint8_t)octets_of_hex(&hex, frame + BW_CONTENT_AT, 255u));
}

#define SHOW_TIME(name, value) printf("number " name " %lu\n", (unsigned long)(value));
#define SHOW_COMMAND(command, NAME) \
    printf("command " command " in %u cause %u\n", (unsigned)BW_##NAME##_ALLOWED_IN, (unsigned)BW_##NAME##_CAUSE);
#define SHOW_REFUSAL(REASON, name) printf("refusal " #name " %u\n", (unsigned)BW_REFUSAL_REASON_##REASON);
#define SHOW_WATCH(CAUSE, name, states) \
    printf("watch " #name " %u in %u\n", (unsigned)BW_CAUSE_##CAUSE, (unsigned)(states));

static void show_interlock(void)
{
    SHOW_TIME("host_silence_ms", BW_HOST_SILENCE_MS)
    SHOW_TIME("reaction_ms", BW_REACTION_MS)
    SHOW_TIME("time_limit_max_ms", BW_TIME_LIMIT_MAX_MS)
    SHOW_TIME("isolate_max_ms", BW_ISOLATE_MAX_MS)
    SHOW_TIME("close_limit_max_ms", BW_CLOSE_LIMIT_MAX_MS)
    SHOW_TIME("sensor_fault_samples", BW_SENSOR_FAULT_SAMPLES)
    printf("power_up %u\n", (unsigned)BW_AIR_AT_POWER_UP);
    SHOW_COMMAND("SupplyOpen", SUPPLY_OPEN)
    BW_REFUSALS_SUPPLY_OPEN(SHOW_REFUSAL)
    SHOW_COMMAND("SupplyShut", SUPPLY_SHUT)
    BW_REFUSALS_SUPPLY_SHUT(SHOW_REFUSAL)
    SHOW_COMMAND("VentOpen", VENT_OPEN)
    SHOW_COMMAND("VentClose", VENT_CLOSE)
    BW_REFUSALS_VENT_CLOSE(SHOW_REFUSAL)
    BW_WATCHES(SHOW_WATCH)
}

static bool take_line(const char *line)
{
    if (strcmp(line, "start device") == 0 || strcmp(line, "start host") == 0) {
        is_device = line[6] == 'd';
        bw_decoder_start(&decoder);
        return true;
    }
    if (strncmp(line, "feed ", 5) == 0) {
        feed(line + 5);
        return true;
    }
    if (strncmp(line, "close ", 6) == 0) {
        close_content(line + 6);
        return true;
    }
    if (strcmp(line, "interlock") == 0) {
        show_interlock();
        return true;
    }
    return strncmp(line, "say ", 4) == 0 && say(line + 4);
}

int main(void)
{
    static char line[LINE_MAX_OCTETS];
    bw_decoder_start(&decoder);
    while (fgets(line, sizeof line, stdin) != NULL) {
        line[strcspn(line, "\n")] = '\0';
        if (!take_line(line)) {
            fprintf(stderr, "wire_runner: this line is no request: %.60s\n", line);
            return 2;
        }
    }
    return 0;
}
