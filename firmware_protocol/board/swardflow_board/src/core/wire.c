// SPDX-License-Identifier: Apache-2.0
#include "wire.h"

uint16_t wire_crc(uint16_t crc, uint8_t byte)
{
    /* The eight shift-and-XOR steps of the definition folded into a few byte operations, which an 8-bit board does
     * in a fraction of the time and without a table. The golden vectors hold it to the definition. */
    crc = (uint16_t)(crc << 8 | crc >> 8);
    crc ^= byte;
    crc ^= (uint8_t)((uint8_t)crc >> 4);
    crc ^= (uint16_t)(crc << 12);
    crc ^= (uint16_t)((uint16_t)(crc & 0xFFu) << 5);
    return crc;
}

void line_char(struct line *line, char character)
{
    if (line->length < WIRE_MAX_LINE)
        line->text[line->length++] = character;
}

void line_start(struct line *line, char letter)
{
    line->length = 0;
    line_char(line, letter);
}

void line_text(struct line *line, const char *text)
{
    while (*text)
        line_char(line, *text++);
}

static char digit(uint8_t nibble)
{
    return (char)(nibble < 10 ? '0' + nibble : 'A' - 10 + nibble);
}

void line_hex(struct line *line, uint32_t value, uint8_t digits)
{
    /* From the last digit to the first, a byte at a time: shifting 32 bits by a variable amount is slow on 8 bits. */
    uint8_t place = (uint8_t)(line->length + digits);
    if (place > WIRE_MAX_LINE)
        return;
    line->length = place;
    while (digits) {
        uint8_t low = (uint8_t)value;
        line->text[--place] = digit(low & 0x0F);
        if (--digits == 0)
            break;
        line->text[--place] = digit(low >> 4);
        --digits;
        value >>= 8;
    }
}

void line_space_hex(struct line *line, uint32_t value, uint8_t digits)
{
    line_char(line, ' ');
    line_hex(line, value, digits);
}

void line_seal(struct line *line)
{
    uint16_t crc = WIRE_CRC_INITIAL;
    line_char(line, ' ');
    for (uint8_t i = 0; i < line->length; i++)
        crc = wire_crc(crc, (uint8_t)line->text[i]);
    line_hex(line, crc, 4);
    line_char(line, '\n');
}
