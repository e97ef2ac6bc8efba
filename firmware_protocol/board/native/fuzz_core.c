// SPDX-License-Identifier: Apache-2.0
/* Throws anything at the core and checks that it goes on keeping the protocol.
 *
 *   fuzz_core SECONDS SEED
 *
 * Built with checks on memory and arithmetic, which end the program at the first fault. Beyond those: every line sent is
 * whole, printable, short enough and under a right checksum; reports keep coming; answers never exceed questions. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>

#include "../swardflow_board/src/core/board.h"
#include "../swardflow_board/src/core/wire.h"
#include "make_believe_port.h"

static uint64_t state;

static uint32_t draw(uint32_t below)
{
    state ^= state << 13;
    state ^= state >> 7;
    state ^= state << 17;
    return (uint32_t)((state >> 32) * below >> 32);
}

/* The definition, bit by bit: not the code under test. */
static uint16_t plain_crc(const char *bytes, size_t length)
{
    uint16_t crc = 0xFFFF;
    while (length--) {
        crc ^= (uint16_t)((uint8_t)*bytes++ << 8);
        for (int i = 0; i < 8; i++)
            crc = (uint16_t)(crc & 0x8000 ? crc << 1 ^ 0x1021 : crc << 1);
    }
    return crc;
}

static void fail(const char *why, const char *line, size_t length)
{
    printf("FAILED: %s: %.*s\n", why, (int)length, line);
    exit(1);
}

static unsigned long reports, answers, identities;

static void check_line(const char *line, size_t length)
{
    char written[5];
    if (length + 1 > WIRE_MAX_LINE || length < 6)
        fail("length", line, length);
    for (size_t i = 0; i < length; i++)
        if (line[i] < 0x20 || line[i] > 0x7E)
            fail("not printable", line, length);
    snprintf(written, sizeof written, "%04X", plain_crc(line, length - 4));
    if (memcmp(written, line + length - 4, 4))
        fail("checksum", line, length);
    switch (line[0]) {
    case 'R':
        if (length != WIRE_REPORT_SIZE - 1)
            fail("report length", line, length);
        reports++;
        break;
    case 'I':
        identities++;
        break;
    case 'H':
    case 'S':
        break;
    case 'A':
    case 'E':
        answers++;
        break;
    default:
        fail("kind", line, length);
    }
}

static void check_sent(void)
{
    static char sent[65536];
    size_t length = chip_take_sent(sent, sizeof sent);
    const char *at = sent, *end = sent + length;
    while (at < end) {
        const char *feed = memchr(at, '\n', (size_t)(end - at));
        if (!feed)
            fail("no line feed", at, (size_t)(end - at));
        if (feed > at) /* the first may be empty */
            check_line(at, (size_t)(feed - at));
        at = feed + 1;
    }
}

static size_t make_line(uint8_t *bytes)
{
    char text[64];
    static const char letters[] = "qpnofxQ";
    size_t length = (size_t)snprintf(text, sizeof text, "%c%02X", letters[draw(7)], draw(256));
    if (draw(3))
        length += (size_t)snprintf(text + length, sizeof text - length, " %0*X", (int)(draw(4) ? 4 + 2 * draw(2) : draw(9)),
                                   draw(4) ? draw(2000) : draw(0xFFFFFFFF));
    text[length++] = ' ';
    length += (size_t)snprintf(text + length, sizeof text - length, "%04X", plain_crc(text, length));
    memcpy(bytes, text, length);
    if (!draw(4))
        bytes[draw((uint32_t)length)] = (uint8_t)draw(256);
    if (!draw(8))
        bytes[length++] = '\r';
    bytes[length++] = '\n';
    return length;
}

static unsigned long questions;

static void send_something(void)
{
    uint8_t bytes[400];
    size_t length;
    if (draw(3)) {
        length = make_line(bytes);
    } else {
        length = draw(sizeof bytes);
        for (size_t i = 0; i < length; i++)
            bytes[i] = (uint8_t)(draw(30) ? draw(256) : '\n');
    }
    for (size_t i = 0; i < length; i++)
        questions += bytes[i] == '\n';
    chip_receive(bytes, length);
}

int main(int argc, char **argv)
{
    double seconds = argc > 1 ? atof(argv[1]) : 1;
    state = argc > 2 ? strtoull(argv[2], NULL, 10) * 2654435761u + 88172645463325252ull : 88172645463325252ull;
    time_t end = time(NULL) + (time_t)seconds;
    unsigned long passes = 0;
    chip_set_clock(draw(0xFFFFFFFF));
    chip_keep_begin(false);
    chip_set_sender(255, 0);
    chip_board_start(255, "abcdefghijklmnop", "123456789012", 4095, 0x3F, 'W');
    do {
        for (int i = 0; i < 10000; i++, passes++) {
            chip_set_clock(chip.clock_us + draw(draw(50) ? 300 : 3000000));
            if (!draw(20) && (chip.received_in - chip.received_out) % sizeof chip.received < 2000)
                send_something();
            if (!draw(3))
                chip_flow_edge();
            if (!draw(5))
                chip_wheel_edge();
            if (draw(2))
                chip_set_pressure((uint16_t)draw(4096));
            chip_set_inputs(draw(2), (uint16_t)(draw(2) ? 4100 : 5000));
            chip_set_sender((uint8_t)(draw(10) ? 255 : draw(256)), (uint8_t)(draw(2) ? 0 : draw(256)));
            board_pass();
            check_sent();
        }
    } while (time(NULL) < end);
    if (answers > questions)
        fail("more answers than questions", "", 0);
    if (reports < passes / 10000 || !identities || !answers)
        fail("it fell silent", "", 0);
    printf("passes %lu, reports %lu, answers %lu to %lu line feeds\n", passes, reports, answers, questions);
    return 0;
}
