// SPDX-License-Identifier: Apache-2.0
/* The nRF51 family (Cortex-M0, 3.3 V: no pin takes 5 V). Pins:
 *
 *   flow meter      P0.01  falling edge
 *   wheel sensor    P0.02  falling edge
 *   spray switch    P0.03  closed = pulled to ground
 *   pressure        P0.04  analog input 5, 0 to the chip's supply: through a divider, see WIRING.md
 *   buzzer, light   P0.05, P0.06  high = on
 *   serial          P0.24 out, P0.25 in
 *
 * Both inputs are timed in their interrupt, by timer 0, which counts µs in 32 bits. */
#ifdef EMULATED_EDGES
#include "emulated_edges.h"
#endif
#include "../arm/chip.h"
#include "../arm/startup.h"
#include "registers.h"

#ifndef ADC_FULL_SCALE
#define ADC_FULL_SCALE 1023u
#endif

enum { FLOW_PIN = 1, WHEEL_PIN, SWITCH_PIN, PRESSURE_PIN, BUZZER_PIN, LIGHT_PIN, SEND_PIN = 24, RECEIVE_PIN = 25 };
enum { FLOW_EVENT, WHEEL_EVENT };
enum { FOR_PROGRAM, FOR_EDGES }; /* each has a register of the timer to itself */

#define PULL_UP (3u << 2)
#define NOT_READ 2u
#define FALLING 2u
#define EITHER 3u

const char chip_kind[] = "nrf51";
const uint16_t chip_adc_full_scale = ADC_FULL_SCALE;

static volatile bool sending;

static inline uint32_t captured(uint32_t nth)
{
    TIMER_CAPTURE(nth) = 1;
    return TIMER_CC(nth) + CLOCK_BEGINS;
}

static void edge_interrupt(void)
{
    uint32_t now_us = captured(FOR_EDGES);
    for (uint32_t event = FLOW_EVENT; event <= WHEEL_EVENT; event++) {
        if (!GPIOTE_EVENTS_IN(event))
            continue;
        GPIOTE_EVENTS_IN(event) = 0; /* before the level is read, so that a change from here on interrupts again */
        take_edge(event == FLOW_EVENT ? INPUT_FLOW : INPUT_WHEEL, now_us);
    }
}

static void serial_interrupt(void)
{
    while (UART_RXDRDY) {
        UART_RXDRDY = 0; /* set again if more bytes wait */
        uint8_t byte = (uint8_t)UART_RXD;
#ifdef EMULATED_EDGES
        if (emulated_edge(byte))
            continue;
#endif
        take_byte(byte);
    }
}

static void tick_interrupt(void)
{
    TICK_COMPARE0 = 0;
}

VECTORS(IRQ_TIMER1) = {
    COMMON_VECTORS,
    [16 + IRQ_UART] = serial_interrupt,
    [16 + IRQ_GPIOTE] = edge_interrupt,
    [16 + IRQ_TIMER1] = tick_interrupt,
};

uint32_t port_clock_us(void)
{
    return captured(FOR_PROGRAM);
}

bool chip_is_active(enum input input)
{
    return !(GPIO_IN & 1u << (input == INPUT_FLOW ? FLOW_PIN : WHEEL_PIN));
}

void chip_watch(enum input input, bool both_edges)
{
    uint32_t event = input == INPUT_FLOW ? FLOW_EVENT : WHEEL_EVENT;
    uint32_t pin = input == INPUT_FLOW ? FLOW_PIN : WHEEL_PIN;
    GPIOTE_CONFIG(event) = 1u | pin << 8 | (both_edges ? EITHER : FALLING) << 16;
}

bool port_pressure(uint16_t *count)
{
    if (!ADC_END)
        return false;
    ADC_END = 0;
    *count = (uint16_t)ADC_RESULT;
    if (*count > ADC_FULL_SCALE)
        *count = ADC_FULL_SCALE;
    ADC_START = 1; /* the next one */
    return true;
}

bool port_switch_closed(void)
{
    return !(GPIO_IN & 1u << SWITCH_PIN);
}

void port_outputs(bool buzzer, bool light)
{
    uint32_t on = (buzzer ? 1u << BUZZER_PIN : 0) | (light ? 1u << LIGHT_PIN : 0);
    GPIO_OUTSET = on;
    GPIO_OUTCLR = (1u << BUZZER_PIN | 1u << LIGHT_PIN) & ~on;
}

bool chip_sender_is_free(void)
{
    if (UART_TXDRDY) {
        UART_TXDRDY = 0;
        sending = false;
    }
    return !sending;
}

uint8_t chip_in_sender(void)
{
    return !chip_sender_is_free();
}

void chip_send(uint8_t byte)
{
    sending = true;
    UART_TXD = byte;
}

void chip_start_clock(void)
{
    CLOCK_HFCLKSTART = 1; /* the crystal; this family cannot do without */
    while (!CLOCK_HFCLKSTARTED)
        ;
    TIMER_BITMODE = 3; /* 32 bits */
    TIMER_PRESCALER = 4; /* 16 MHz ÷ 2⁴ */
    TIMER_START = 1;
}

void chip_pull_up_inputs(void)
{
    GPIO_PIN_CNF(FLOW_PIN) = PULL_UP;
    GPIO_PIN_CNF(WHEEL_PIN) = PULL_UP;
    GPIO_PIN_CNF(SWITCH_PIN) = PULL_UP;
}

void chip_start_inputs(void)
{
    GPIOTE_EVENTS_IN(FLOW_EVENT) = 0; /* set, perhaps, as the event was set up */
    GPIOTE_EVENTS_IN(WHEEL_EVENT) = 0;
    GPIOTE_INTENSET = 1u << FLOW_EVENT | 1u << WHEEL_EVENT;
    NVIC_IPR(IRQ_UART / 4) = 0x80u << 8 * (IRQ_UART % 4); /* edges first, the tick last */
    NVIC_IPR(IRQ_TIMER1 / 4) = 0xC0u << 8 * (IRQ_TIMER1 % 4);
    NVIC_ISER = 1u << IRQ_GPIOTE;
}

void chip_start_serial_and_outputs(void)
{
    GPIO_OUTSET = 1u << SEND_PIN; /* the line rests high */
    GPIO_DIRSET = 1u << SEND_PIN | 1u << BUZZER_PIN | 1u << LIGHT_PIN;
    GPIO_PIN_CNF(RECEIVE_PIN) = PULL_UP;
    UART_PSELTXD = SEND_PIN;
    UART_PSELRXD = RECEIVE_PIN;
    UART_BAUDRATE = BOARD_BAUD == 250000 ? 0x04000000 : 0x01D7E000; /* 115,200 */
    UART_ENABLE = 4;
    UART_INTENSET = 1u << 2; /* a byte received */
    UART_STARTRX = 1;
    UART_STARTTX = 1;
    NVIC_ISER = 1u << IRQ_UART;
    GPIO_PIN_CNF(PRESSURE_PIN) = NOT_READ;
    ADC_CONFIG = 2u | 2u << 2 | 3u << 5 | 1u << (8 + 5); /* 10 bits; a third of the input to a third of the supply */
    ADC_ENABLE = 1;
    ADC_START = 1;
}

/* No flag is set after a power-on, nor after a brown-out: this family does not tell them apart. */
char chip_reset_cause(void)
{
    uint32_t flags = POWER_RESETREAS;
    POWER_RESETREAS = flags; /* a 1 clears */
    if (!flags)
        return 'P';
    if (flags & 1u << 1)
        return 'W';
    return flags & 1u ? 'X' : 'U';
}

uint32_t chip_chance(void)
{
    return captured(FOR_PROGRAM) ^ ADC_RESULT;
}

const uint8_t *chip_unique_number(uint32_t *length)
{
    *length = 8;
    return (const uint8_t *)0x10000060u;
}

void chip_start_watchdog(void)
{
    WDT_CRV = 32768 / 2 - 1; /* by an oscillator of its own */
    WDT_START = 1;
}

void chip_feed_watchdog(void)
{
    WDT_RR0 = 0x6E524635u;
}

void chip_start_tick(void)
{
    TICK_PRESCALER = 4;
    TICK_CC0 = 1000; /* µs */
    TICK_SHORTS = 1; /* and from 0 again */
    TICK_INTENSET = 1u << 16;
    TICK_START = 1;
    NVIC_ISER = 1u << IRQ_TIMER1;
}
