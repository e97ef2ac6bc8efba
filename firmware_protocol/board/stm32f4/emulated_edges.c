// SPDX-License-Identifier: Apache-2.0
/* For the emulator alone, which has no pins: a byte `f` or `w` on the second serial line raises the interrupt of the flow
 * or the wheel input. */
#include "registers.h"

#define USART2_SR REGISTER(0x40004400)
#define USART2_DR REGISTER(0x40004404)
#define USART2_CR1 REGISTER(0x4000440C)
#define NVIC_STIR REGISTER(0xE000EF00)

void edge_byte_interrupt(void)
{
    if (USART2_SR & 0x20)
        NVIC_STIR = (uint8_t)USART2_DR == 'f' ? IRQ_EXTI0 : IRQ_EXTI1;
}

void emulated_edges_start(void)
{
    USART2_CR1 = 1u << 13 | 1u << 5 | 1u << 2;
    NVIC_ISER(1) = 1u << (IRQ_USART2 - 32);
}
