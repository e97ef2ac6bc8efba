// SPDX-License-Identifier: Apache-2.0
/* What a chip's table of vectors holds before its own interrupts. */
#ifndef STARTUP_H
#define STARTUP_H

#include <stdint.h>

typedef void (*handler)(void);

extern uint32_t stack_begins; /* link.ld */
void start(void);
void stand_still(void); /* after a mistake of the processor: until the watchdog bites */

#define VECTORS(last_irq) \
    __attribute__((section(".vectors"), used)) static const handler vectors[16 + (last_irq) + 1]
#define COMMON_VECTORS \
    [0] = (handler)&stack_begins, [1] = start, [2] = stand_still, [3] = stand_still, [4] = stand_still, \
    [5] = stand_still, [6] = stand_still

#endif
