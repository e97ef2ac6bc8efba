// SPDX-License-Identifier: Apache-2.0
/* Host commands: PROTOCOL.md, section 7. */
#ifndef COMMAND_H
#define COMMAND_H

#include <stdbool.h>
#include <stdint.h>

#include "wire.h"

enum refusal {
    REFUSAL_NONE = 0x00,
    REFUSAL_CHECKSUM = 0x01,
    REFUSAL_UNKNOWN = 0x02,
    REFUSAL_VALUE = 0x03,
    REFUSAL_TOO_LONG = 0x04,
    REFUSAL_NOT_FITTED = 0x05
};

#define INTERVAL_MS_LOWEST 20u
#define INTERVAL_MS_HIGHEST 1000u
#define PATTERN_HIGHEST 3u

struct command {
    char letter;
    uint8_t tag; /* 0 where the line's own cannot be trusted */
    uint32_t value;
};

/* Bytes of the line that is coming in. Never holds more than a command may have, and one carriage return. */
struct command_buffer {
    char text[WIRE_MAX_COMMAND + 1];
    uint8_t length;
    bool too_long;
};

void command_clear(struct command_buffer *buffer);
/* Takes a byte; true when it was the line feed of a line that is not empty: read it, then clear. */
bool command_byte(struct command_buffer *buffer, uint8_t byte);
/* Reads the line; anything but REFUSAL_NONE is the answer to give, with command->tag. */
enum refusal command_read(const struct command_buffer *buffer, struct command *command);

#endif
