/* Messages as lines of text: see message_text.h. Runs on the PC only. */
#include "message_text.h"

#include "bw_fields.h"

#include <stdlib.h>
#include <string.h>

/* ---- showing ---- */

void show_hex(FILE *to, const uint8_t *octets, size_t length)
{
    static const char digits[] = "0123456789abcdef";
    for (size_t at = 0; at < length; at++) {
        putc(digits[octets[at] >> 4], to);
        putc(digits[octets[at] & 15u], to);
    }
}

static void show_f32(FILE *to, float value)
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    fprintf(to, "%08lx", (unsigned long)bits);
}

#define SHOW_u8(name) fprintf(to, "%u", (unsigned)message.name)
#define SHOW_u16(name) fprintf(to, "%u", (unsigned)message.name)
#define SHOW_u32(name) fprintf(to, "%lu", (unsigned long)message.name)
#define SHOW_i8(name) fprintf(to, "%d", (int)message.name)
#define SHOW_i16(name) fprintf(to, "%d", (int)message.name)
#define SHOW_i32(name) fprintf(to, "%ld", (long)message.name)
#define SHOW_f32(name) show_f32(to, message.name)
#define SHOW_octets(name) show_hex(to, message.name, message.name##_length)
#define SHOW_FIELD(type, name) fputs(" " #name "=", to); SHOW_##type(name);

static void show_again(FILE *to, const uint8_t *content, uint8_t content_length, const uint8_t *again,
                       uint8_t again_length)
{
    if (again_length != content_length || memcmp(again, content, content_length) != 0) {
        fputs(" WRITTEN AGAIN ", to);
        show_hex(to, again, again_length);
    }
    putc('\n', to);
}

#define SHOW_MESSAGE(Name, NAME, name)                                                 \
    case BW_TYPE_##NAME: {                                                             \
        struct bw_##name message;                                                      \
        enum bw_bad reason = bw_read_##name(&message, content, content_length);        \
        if (reason == BW_GOOD) {                                                       \
            fputs(#Name, to);                                                          \
            BW_FIELDS_##NAME(SHOW_FIELD)                                               \
            uint8_t again_length = bw_write_##name(again, &message);                   \
            show_again(to, content, content_length, again, again_length);              \
        }                                                                              \
        return reason;                                                                 \
    }

#define SHOW_BARE_MESSAGE(Name, NAME, name)                                            \
    case BW_TYPE_##NAME: {                                                             \
        enum bw_bad reason = bw_read_##name(content, content_length);                  \
        if (reason == BW_GOOD) {                                                       \
            fputs(#Name, to);                                                          \
            show_again(to, content, content_length, again, bw_write_##name(again));    \
        }                                                                              \
        return reason;                                                                 \
    }

enum bw_bad show_message(FILE *to, const uint8_t *content, uint8_t content_length)
{
    uint8_t again[BW_CONTENT_MAX];
    switch (content[0]) {
        BW_MESSAGES(SHOW_MESSAGE)
        BW_BARE_MESSAGES(SHOW_BARE_MESSAGE)
    default:
        fprintf(stderr, "wire_runner: type %u is known and has no row in bw_fields.h\n", content[0]);
        exit(2);
    }
}

/* ---- reading lines ---- */

static int digit_of(char letter)
{
    if (letter >= '0' && letter <= '9') {
        return letter - '0';
    }
    return letter >= 'a' && letter <= 'f' ? letter - 'a' + 10 : -1;
}

size_t octets_of_hex(const char **text, uint8_t *octets, size_t most)
{
    size_t count = 0;
    while (count < most && digit_of((*text)[0]) >= 0 && digit_of((*text)[1]) >= 0) {
        octets[count++] = (uint8_t)(digit_of((*text)[0]) * 16 + digit_of((*text)[1]));
        *text += 2;
    }
    return count;
}

static float take_f32(const char **at)
{
    char *end;
    uint32_t bits = (uint32_t)strtoul(*at, &end, 16);
    float value;
    memcpy(&value, &bits, sizeof value);
    *at = end;
    return value;
}

static long long take_integer(const char **at)
{
    char *end;
    long long value = strtoll(*at, &end, 10);
    *at = end;
    return value;
}

/* Moves behind " NAME=" or says false. */
static bool take_name(const char **at, const char *name)
{
    size_t length = strlen(name);
    if (strncmp(*at, name, length) != 0) {
        return false;
    }
    *at += length;
    return true;
}

#define TAKE_u8(name) message.name = (uint8_t)take_integer(&at)
#define TAKE_u16(name) message.name = (uint16_t)take_integer(&at)
#define TAKE_u32(name) message.name = (uint32_t)take_integer(&at)
#define TAKE_i8(name) message.name = (int8_t)take_integer(&at)
#define TAKE_i16(name) message.name = (int16_t)take_integer(&at)
#define TAKE_i32(name) message.name = (int32_t)take_integer(&at)
#define TAKE_f32(name) message.name = take_f32(&at)
#define TAKE_octets(name)                                                              \
    message.name = spare;                                                              \
    message.name##_length = (uint8_t)octets_of_hex(&at, spare, 255u);                  \
    spare += 255
#define TAKE_FIELD(type, name)                                                         \
    if (!take_name(&at, " " #name "=")) {                                              \
        return false;                                                                  \
    }                                                                                  \
    TAKE_##type(name);

#define TAKE_MESSAGE(Name, NAME, name)                                                 \
    if (strcmp(word, #Name) == 0) {                                                    \
        struct bw_##name message;                                                      \
        BW_FIELDS_##NAME(TAKE_FIELD)                                                   \
        *content_length = bw_write_##name(content, &message);                          \
        return *at == '\0';                                                            \
    }

#define TAKE_BARE_MESSAGE(Name, NAME, name)                                            \
    if (strcmp(word, #Name) == 0) {                                                    \
        *content_length = bw_write_##name(content);                                    \
        return *at == '\0';                                                            \
    }

bool message_of_line(const char *line, uint8_t *content, uint8_t *content_length)
{
    static uint8_t spares[4 * 255];
    uint8_t *spare = spares;
    char word[32];
    size_t length = strcspn(line, " ");
    if (length >= sizeof word) {
        return false;
    }
    memcpy(word, line, length);
    word[length] = '\0';
    const char *at = line + length;
    (void)spare;
    BW_MESSAGES(TAKE_MESSAGE)
    BW_BARE_MESSAGES(TAKE_BARE_MESSAGE)
    return false;
}
