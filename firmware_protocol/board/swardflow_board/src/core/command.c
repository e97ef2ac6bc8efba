// SPDX-License-Identifier: Apache-2.0
#include "command.h"

#include "counter.h"

void command_clear(struct command_buffer *buffer)
{
    buffer->length = 0;
    buffer->too_long = false;
}

static void drop_carriage_return(struct command_buffer *buffer)
{
    if (!buffer->too_long && buffer->length && buffer->text[buffer->length - 1] == '\r')
        buffer->length--;
}

bool command_byte(struct command_buffer *buffer, uint8_t byte)
{
    if (byte == '\n') {
        drop_carriage_return(buffer);
        return buffer->length > 0;
    }
    if (buffer->length < sizeof buffer->text)
        buffer->text[buffer->length++] = (char)byte;
    else
        buffer->too_long = true;
    return false;
}

/* Value of a capital hexadecimal digit; 0xFF for anything else. */
static uint8_t nibble(char character)
{
    if (character >= '0' && character <= '9')
        return (uint8_t)(character - '0');
    if (character >= 'A' && character <= 'F')
        return (uint8_t)(character - 'A' + 10);
    return 0xFF;
}

static bool read_hex(const char *text, uint8_t digits, uint32_t *value)
{
    *value = 0;
    while (digits--) {
        uint8_t next = nibble(*text++);
        if (next > 0x0F)
            return false;
        *value = *value << 4 | next;
    }
    return true;
}

static bool checksum_matches(const char *text, uint8_t length)
{
    uint16_t crc = WIRE_CRC_INITIAL;
    uint32_t written;
    for (uint8_t i = 0; i < length - 4; i++)
        crc = wire_crc(crc, (uint8_t)text[i]);
    return read_hex(text + length - 4, 4, &written) && written == crc;
}

static bool in_range(const struct command *command)
{
    switch (command->letter) {
    case 'n':
        return command->value >= INTERVAL_MS_LOWEST && command->value <= INTERVAL_MS_HIGHEST;
    case 'o':
        return (command->value >> 20) <= PATTERN_HIGHEST && (command->value >> 16 & 0x0F) <= PATTERN_HIGHEST;
    case 'f': {
        uint32_t input = command->value >> 20;
        return (input == INPUT_FLOW || input == INPUT_WHEEL)
            && filter_is_possible(command->value >> 16 & 0x0F, command->value & 0xFFFF);
    }
    default:
        return true;
    }
}

enum refusal command_read(const struct command_buffer *buffer, struct command *command)
{
    const char *text = buffer->text;
    uint8_t length = buffer->length;
    uint32_t tag;
    command->letter = 0;
    command->tag = 0;
    command->value = 0;
    if (buffer->too_long || length > WIRE_MAX_COMMAND)
        return REFUSAL_TOO_LONG;
    if (length < 6 || text[length - 5] != ' ' || !checksum_matches(text, length))
        return REFUSAL_CHECKSUM;
    length = (uint8_t)(length - 5); /* what is left: letter, tag, perhaps a space and a value */
    if (length < 3 || text[0] < 'a' || text[0] > 'z' || !read_hex(text + 1, 2, &tag))
        return REFUSAL_UNKNOWN;
    if (length > 3 && text[3] != ' ')
        return REFUSAL_UNKNOWN;
    command->tag = (uint8_t)tag;
    command->letter = text[0];
    uint8_t digits;
    switch (command->letter) {
    case 'p':
    case 'q':
        digits = 0;
        break;
    case 'n':
        digits = 4;
        break;
    case 'o':
    case 'f':
        digits = 6;
        break;
    default:
        return REFUSAL_UNKNOWN;
    }
    if (length != (digits ? 4 + digits : 3))
        return REFUSAL_VALUE;
    if (digits && (!read_hex(text + 4, digits, &command->value) || !in_range(command)))
        return REFUSAL_VALUE;
    return REFUSAL_NONE;
}
