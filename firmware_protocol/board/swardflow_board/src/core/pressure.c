// SPDX-License-Identifier: Apache-2.0
#include "pressure.h"

void pressure_clear(struct pressure_frame *frame)
{
    frame->sum = 0;
    frame->readings = 0;
    frame->lowest = 0;
    frame->highest = 0;
}

void pressure_take(struct pressure_frame *frame, uint16_t count)
{
    /* 16 × 4095 × 65,535 still fits 32 bits, so the mean below cannot overflow; no frame has that many readings. */
    if (frame->readings == UINT16_MAX)
        return;
    if (frame->readings == 0 || count < frame->lowest)
        frame->lowest = count;
    if (count > frame->highest)
        frame->highest = count;
    frame->sum += count;
    frame->readings++;
}

uint16_t pressure_mean(const struct pressure_frame *frame)
{
    if (frame->readings == 0)
        return 0;
    return (uint16_t)(frame->sum * 16u / frame->readings);
}
