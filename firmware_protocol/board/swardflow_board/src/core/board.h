// SPDX-License-Identifier: Apache-2.0
/* The board: makes reports, answers commands. Everything it needs from the chip is in port.h. */
#ifndef BOARD_H
#define BOARD_H

#include <stdint.h>

enum capability {
    FITTED_FLOW = 0x01,
    FITTED_WHEEL = 0x02,
    FITTED_PRESSURE = 0x04,
    FITTED_SWITCH = 0x08,
    FITTED_BUZZER = 0x10,
    FITTED_LIGHT = 0x20
};

struct identity {
    uint8_t boot;
    const char *name; /* 1 to 16 of a-z 0-9 - */
    const char *firmware; /* 1 to 12 of 0-9 A-Z a-z . + - */
    uint32_t serial; /* tells this board from every other; 0 = none */
    const char *kind; /* the chip: 1 to 16 of a-z 0-9 - */
    uint16_t adc_full_scale;
    uint8_t capabilities; /* of enum capability */
    char reset_cause; /* P B W X U */
};

/* Starts: the identity line is the first to be sent. `identity` must stay where it is. */
void board_start(const struct identity *identity);
/* Does what there is to do and comes back at once; call it over and over. */
void board_pass(void);

#endif
