// SPDX-License-Identifier: Apache-2.0
/* Vector table and what happens before main. */
#include <stdint.h>

#include "registers.h"

extern uint32_t data_begins, data_ends, data_image, bss_begins, bss_ends, stack_begins;

int main(void);
void flow_interrupt(void);
void wheel_interrupt(void);
void serial_interrupt(void);
void tick_interrupt(void);
void edge_byte_interrupt(void); /* emulated_edges.c */

void start(void)
{
    const uint32_t *from = &data_image;
    for (uint32_t *to = &data_begins; to < &data_ends;)
        *to++ = *from++;
    for (uint32_t *to = &bss_begins; to < &bss_ends;)
        *to++ = 0;
    main();
}

static void stand_still(void) /* until the watchdog bites */
{
    for (;;)
        ;
}

typedef void (*handler)(void);

__attribute__((section(".vectors"), used)) static const handler vectors[16 + IRQ_USART2 + 1] = {
    [0] = (handler)&stack_begins,
    [1] = start,
    [2] = stand_still,
    [3] = stand_still,
    [4] = stand_still,
    [5] = stand_still,
    [6] = stand_still,
    [15] = tick_interrupt,
    [16 + IRQ_EXTI0] = flow_interrupt,
    [16 + IRQ_EXTI1] = wheel_interrupt,
    [16 + IRQ_USART1] = serial_interrupt,
#ifdef EMULATED_EDGES
    [16 + IRQ_USART2] = edge_byte_interrupt,
#endif
};
