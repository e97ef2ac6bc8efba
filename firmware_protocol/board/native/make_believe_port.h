// SPDX-License-Identifier: Apache-2.0
/* A chip made of variables, so that the core runs on the computer: a test sets them and looks at what was sent. */
#ifndef MAKE_BELIEVE_PORT_H
#define MAKE_BELIEVE_PORT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "../swardflow_board/src/core/port.h"

struct make_believe {
    uint32_t clock_us;
    struct counter flow;
    struct counter wheel;
    struct keep keep;
    bool pressure_ready;
    uint16_t pressure;
    bool switch_closed;
    uint16_t supply_mv;
    bool buzzer;
    bool light;
    uint8_t received[4096]; /* what the host has sent; a ring */
    uint16_t received_in;
    uint16_t received_out;
    uint8_t room;
    uint8_t unsent;
    char out[65536]; /* what the board has sent; starts anew when full */
    uint32_t out_length;
};

extern struct make_believe chip;

/* For tests in other languages. */
/* A start of the board, which keeps clock, counters and keep as they are. `name` and `firmware` are copied. */
void chip_board_start(uint8_t boot, const char *name, const char *firmware, uint16_t adc_full_scale,
                      uint8_t capabilities, char reset_cause);
void chip_receive(const uint8_t *bytes, size_t length);
/* An edge at the present clock. */
void chip_flow_edge(void);
void chip_wheel_edge(void);
/* The wheel's level at the present clock, for the rule FILTER_REST. */
void chip_wheel_level(bool active);
void chip_set_clock(uint32_t clock_us);
void chip_set_pressure(uint16_t count);
void chip_set_inputs(bool switch_closed, uint16_t supply_mv);
/* What port_room and port_unsent say from now on. */
void chip_set_sender(uint8_t room, uint8_t unsent);
/* What a start does with counters and memory: see keep_begin. */
void chip_keep_begin(bool trusted);
void chip_lose_memory(uint8_t filling);
bool chip_buzzer(void);
bool chip_light(void);
/* Copies what was sent since the last call; returns its length. */
size_t chip_take_sent(char *bytes, size_t size);

#endif
