// SPDX-License-Identifier: Apache-2.0
/* The pressure readings of one frame: mean, lowest and highest. */
#ifndef PRESSURE_H
#define PRESSURE_H

#include <stdint.h>

struct pressure_frame {
    uint32_t sum;
    uint16_t readings;
    uint16_t lowest;
    uint16_t highest;
};

void pressure_clear(struct pressure_frame *frame);
/* `count` is the converter's, 0 to 4095. */
void pressure_take(struct pressure_frame *frame, uint16_t count);
/* Mean in sixteenths of a count, rounded down; 0 when there were no readings. */
uint16_t pressure_mean(const struct pressure_frame *frame);

#endif
