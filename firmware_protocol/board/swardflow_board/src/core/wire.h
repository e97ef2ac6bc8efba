// SPDX-License-Identifier: Apache-2.0
/* Writing lines: hexadecimal fields and the checksum of PROTOCOL.md, section 4. */
#ifndef WIRE_H
#define WIRE_H

#include <stdint.h>

#define WIRE_MAX_LINE 80 /* bytes, line feed included */
#define WIRE_MAX_COMMAND 31 /* characters, without line feed */
#define WIRE_REPORT_SIZE 80

#define WIRE_CRC_INITIAL 0xFFFFu

struct line {
    char text[WIRE_MAX_LINE];
    uint8_t length;
};

/* CRC-16/IBM-3740 carried on by one byte; start with WIRE_CRC_INITIAL. Check value over "123456789": 0x29B1. */
uint16_t wire_crc(uint16_t crc, uint8_t byte);

void line_start(struct line *line, char letter);
void line_char(struct line *line, char character);
void line_text(struct line *line, const char *text);
/* `value` in `digits` capital hexadecimal digits. */
void line_hex(struct line *line, uint32_t value, uint8_t digits);
void line_space_hex(struct line *line, uint32_t value, uint8_t digits);
/* Ends the line: space, checksum, line feed. */
void line_seal(struct line *line);

#endif
