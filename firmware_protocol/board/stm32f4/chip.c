// SPDX-License-Identifier: Apache-2.0
/* The STM32F405 family (Cortex-M4; the F205 with its Cortex-M3 has the same registers). Pins:
 *
 *   flow meter      PA0   falling edge; takes 5 V
 *   wheel sensor    PA1   falling edge; takes 5 V
 *   spray switch    PA4   closed = pulled to ground
 *   pressure        PA6   ADC1 channel 6, 0 to 3.3 V: through a divider, see WIRING.md
 *   buzzer, light   PB0, PB1   high = on
 *   serial          PA9, PA10  USART1
 *
 * Both inputs are timed in their interrupt, by timer 2, which counts µs in 32 bits. */
#include "../arm/chip.h"
#include "../arm/startup.h"
#include "registers.h"

/* What a build may settle otherwise. The crystal is used if it starts, else the oscillator on the chip. */
#ifndef CRYSTAL_HZ
#define CRYSTAL_HZ 8000000u
#endif
#ifndef TIMER_HZ /* an emulator's timer may run at a speed of its own */
#define TIMER_HZ clock_hz
#endif
#ifndef ADC_FULL_SCALE
#define ADC_FULL_SCALE 4095u
#endif
#ifndef UNIQUE_NUMBER /* 96 bits, different in each chip */
#define UNIQUE_NUMBER 0x1FFF7A10u
#endif

#define OSCILLATOR_HZ 16000000u
#define FLOW_BIT 1u
#define WHEEL_BIT 2u
#define SWITCH_BIT 0x10u

const char chip_kind[] = "stm32f405";
const uint16_t chip_adc_full_scale = ADC_FULL_SCALE;

static uint32_t clock_hz = OSCILLATOR_HZ;

void emulated_edges_start(void);
void edge_byte_interrupt(void); /* emulated_edges.c */

static uint32_t bit_of(enum input input)
{
    return input == INPUT_FLOW ? FLOW_BIT : WHEEL_BIT;
}

static void flow_interrupt(void)
{
    uint32_t now_us = TIM2_CNT;
    EXTI_PR = FLOW_BIT; /* before the level is read, so that a change from here on interrupts again */
    take_edge(INPUT_FLOW, now_us);
}

static void wheel_interrupt(void)
{
    uint32_t now_us = TIM2_CNT;
    EXTI_PR = WHEEL_BIT;
    take_edge(INPUT_WHEEL, now_us);
}

static void serial_interrupt(void)
{
    if (USART1_SR & 0x28) /* byte received, or lost because another came */
        take_byte((uint8_t)USART1_DR);
}

static void tick_interrupt(void)
{
}

VECTORS(IRQ_USART2) = {
    COMMON_VECTORS,
    [15] = tick_interrupt,
    [16 + IRQ_EXTI0] = flow_interrupt,
    [16 + IRQ_EXTI1] = wheel_interrupt,
    [16 + IRQ_USART1] = serial_interrupt,
#ifdef EMULATED_EDGES
    [16 + IRQ_USART2] = edge_byte_interrupt,
#endif
};

uint32_t port_clock_us(void)
{
    return TIM2_CNT;
}

bool chip_is_active(enum input input)
{
    return !(GPIO_IDR(GPIOA) & bit_of(input));
}

void chip_watch(enum input input, bool both_edges)
{
    uint32_t bit = bit_of(input);
    EXTI_FTSR |= bit;
    EXTI_RTSR = both_edges ? EXTI_RTSR | bit : EXTI_RTSR & ~bit;
}

bool port_pressure(uint16_t *count)
{
    if (!(ADC1_SR & 2))
        return false;
    *count = (uint16_t)(ADC1_DR & 0x0FFF);
    if (*count > ADC_FULL_SCALE)
        *count = ADC_FULL_SCALE;
    ADC1_CR2 |= 1u << 30; /* the next one */
    return true;
}

bool port_switch_closed(void)
{
    return !(GPIO_IDR(GPIOA) & SWITCH_BIT);
}

void port_outputs(bool buzzer, bool light)
{
    GPIO_BSRR(GPIOB) = (buzzer ? 1u : 1u << 16) | (light ? 2u : 2u << 16);
}

bool chip_sender_is_free(void)
{
    return USART1_SR & 0x80;
}

uint8_t chip_in_sender(void)
{
    uint32_t status = USART1_SR;
    return !(status & 0x80) ? 2 : !(status & 0x40);
}

void chip_send(uint8_t byte)
{
    USART1_DR = byte;
}

void chip_start_clock(void)
{
    RCC_CR |= 1u << 16; /* crystal on */
    for (uint32_t tries = 0; tries < 100000; tries++)
        if (RCC_CR & 1u << 17) {
            RCC_CFGR = 1; /* crystal in use */
            clock_hz = CRYSTAL_HZ;
            break;
        }
    RCC_AHB1ENR |= 3; /* GPIOA, GPIOB */
    RCC_APB1ENR |= 1; /* TIM2 */
    RCC_APB2ENR |= 1u << 4 | 1u << 8 | 1u << 14; /* USART1, ADC1, SYSCFG */
    TIM2_PSC = TIMER_HZ / 1000000u - 1;
    TIM2_ARR = 0xFFFFFFFFu;
    TIM2_EGR = 1;
    TIM2_CNT = CLOCK_BEGINS;
    TIM2_CR1 = 1;
}

void chip_pull_up_inputs(void)
{
    GPIO_PUPDR(GPIOA) |= 1u << 0 | 1u << 2 | 1u << 8; /* flow, wheel, switch */
}

void chip_start_inputs(void)
{
    SYSCFG_EXTICR1 &= ~0xFFu; /* lines 0 and 1 from port A */
    EXTI_IMR |= FLOW_BIT | WHEEL_BIT;
    NVIC_IPR_BYTE(IRQ_USART1) = 0x80; /* edges first */
    NVIC_ISER(0) = 1u << IRQ_EXTI0 | 1u << IRQ_EXTI1;
}

void chip_start_serial_and_outputs(void)
{
    GPIO_MODER(GPIOA) |= 2u << 18 | 2u << 20 | 3u << 12; /* PA9, PA10 to the USART, PA6 analog */
    GPIO_AFRH(GPIOA) |= 7u << 4 | 7u << 8;
    GPIO_MODER(GPIOB) |= 1u << 0 | 1u << 2;
    USART1_BRR = (clock_hz + BOARD_BAUD / 2) / BOARD_BAUD;
    USART1_CR1 = 1u << 13 | 1u << 5 | 1u << 3 | 1u << 2;
    NVIC_ISER(1) = 1u << (IRQ_USART1 - 32);
    ADC1_SMPR2 = 7u << 18;
    ADC1_SQR3 = 6;
    ADC1_CR2 = 1;
    ADC1_CR2 |= 1u << 30;
#ifdef EMULATED_EDGES
    emulated_edges_start();
#endif
}

char chip_reset_cause(void)
{
    uint32_t flags = RCC_CSR;
    RCC_CSR = flags | 1u << 24;
    if (flags & 1u << 27)
        return 'P';
    if (flags & (1u << 29 | 1u << 30))
        return 'W';
    if (flags & 1u << 25)
        return 'B';
    return flags & 1u << 26 ? 'X' : 'U';
}

uint32_t chip_chance(void)
{
    return ADC1_DR;
}

const uint8_t *chip_unique_number(uint32_t *length)
{
    *length = 12;
    return (const uint8_t *)UNIQUE_NUMBER;
}

void chip_start_watchdog(void)
{
    IWDG_KR = 0x5555;
    IWDG_PR = 3; /* ms, by an oscillator of its own */
    IWDG_RLR = 500;
    IWDG_KR = 0xCCCC;
}

void chip_feed_watchdog(void)
{
    IWDG_KR = 0xAAAA;
}

void chip_start_tick(void)
{
    SYSTICK_RVR = clock_hz / 1000 - 1;
    SYSTICK_CSR = 7;
}
