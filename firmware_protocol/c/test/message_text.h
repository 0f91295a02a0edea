/* Messages as lines of text, for the test programs on the PC: "Ack request_id=1 command=4 device_tick=1000". Integers
 * are decimal, f32 are their 32 bits in hex, text and octets are hex. */
#ifndef MESSAGE_TEXT_H
#define MESSAGE_TEXT_H

#include "bw_messages.h"

#include <stddef.h>
#include <stdio.h>

/* Reads the content with the reader of its type, prints the message, and writes it again with the writer of its type;
 * the line says so when that does not give the same octets. Of bad content the reason is returned, nothing printed. */
enum bw_bad show_message(FILE *to, const uint8_t *content, uint8_t content_length);

/* Makes content of such a line. False when the line is no message; *content_length is 0 when the writer refused it. */
bool message_of_line(const char *line, uint8_t *content, uint8_t *content_length);

/* The octets of hex digits up to the first that is none, into at most `most` octets; how many were there. */
size_t octets_of_hex(const char **text, uint8_t *octets, size_t most);

void show_hex(FILE *to, const uint8_t *octets, size_t length);

#endif
