// SPDX-License-Identifier: Apache-2.0
/* The STM32F405 family, 32 bits: the second port. Pins:
 *
 *   flow meter      PA0   falling edge; takes 5 V
 *   wheel sensor    PA1   falling edge; takes 5 V
 *   spray switch    PA4   closed = pulled to ground
 *   pressure        PA6   ADC1 channel 6, 0 to 3.3 V: through a divider, see WIRING.md
 *   buzzer, light   PB0, PB1   high = on
 *   serial          PA9, PA10  USART1
 *
 * Both inputs are timed in their interrupt, by timer 2, which counts µs in 32 bits. */
#include "../swardflow_board/src/core/board.h"
#include "../swardflow_board/src/core/port.h"
#include "../swardflow_board/src/core/wire.h"
#include "registers.h"

/* What a build may settle otherwise. The crystal is used if it starts, else the oscillator on the chip. */
#ifndef CRYSTAL_HZ
#define CRYSTAL_HZ 8000000u
#endif
#ifndef TIMER_HZ /* an emulator's timer may run at a speed of its own */
#define TIMER_HZ clock_hz
#endif
#ifndef BOARD_BAUD
#define BOARD_BAUD 115200u
#endif
#ifndef BOARD_NAME
#define BOARD_NAME "hand-boom"
#endif
#ifndef BOARD_FITTED
#define BOARD_FITTED (FITTED_FLOW | FITTED_WHEEL | FITTED_PRESSURE | FITTED_SWITCH | FITTED_BUZZER | FITTED_LIGHT)
#endif
#ifndef ADC_FULL_SCALE
#define ADC_FULL_SCALE 4095u
#endif
#ifndef UNIQUE_NUMBER /* 96 bits, different in each chip */
#define UNIQUE_NUMBER 0x1FFF7A10u
#endif
#ifndef CLOCK_BEGINS
#define CLOCK_BEGINS 0u /* tests begin shortly before the clock turns over */
#endif

#define OSCILLATOR_HZ 16000000u
#define FLOW_BIT 1u
#define WHEEL_BIT 2u
#define SWITCH_BIT 0x10u
#define RUNNING 0x3C96A55Au

static const struct filters usual = {{FILTER_SPACING, 100}, {FILTER_SPACING, 400}};

static uint32_t clock_hz = OSCILLATOR_HZ;
static volatile uint8_t receive_ring[256];
static volatile uint8_t receive_in;
static uint8_t receive_out;
static char send_ring[256];
static uint8_t send_in;
static uint8_t send_out;

/* Not cleared at a start: see keep.h. */
#define KEPT __attribute__((section(".noinit")))
static volatile struct counter flow KEPT;
static volatile struct counter wheel KEPT;
static struct keep keep KEPT;
static uint32_t program_mark KEPT;
static uint8_t boot_number KEPT;

void emulated_edges_start(void);

extern uint8_t ram_unused; /* link.ld: from here to the stack nothing has been written */

static inline uint32_t hold_interrupts(void)
{
    uint32_t before;
    __asm__ volatile("mrs %0, primask\n cpsid i" : "=r"(before)::"memory");
    return before;
}

static inline void release_interrupts(uint32_t before)
{
    __asm__ volatile("msr primask, %0" ::"r"(before) : "memory");
}

static void take_edge(volatile struct counter *counter, uint32_t bit)
{
    uint32_t now_us = TIM2_CNT;
    EXTI_PR = bit; /* before the level is read, so that a change from here on interrupts again */
    if (counter->filter.rule == FILTER_REST)
        counter_level(counter, now_us, !(GPIO_IDR(GPIOA) & bit));
    else
        counter_edge(counter, now_us);
}

void flow_interrupt(void)
{
    take_edge(&flow, FLOW_BIT);
}

void wheel_interrupt(void)
{
    take_edge(&wheel, WHEEL_BIT);
}

void serial_interrupt(void)
{
    if (!(USART1_SR & 0x28)) /* byte received, or lost because another came */
        return;
    uint8_t byte = (uint8_t)USART1_DR;
    uint8_t next = (uint8_t)(receive_in + 1u);
    if (next != receive_out) {
        receive_ring[receive_in] = byte;
        receive_in = next;
    }
}

void tick_interrupt(void)
{
}

uint32_t port_clock_us(void)
{
    return TIM2_CNT;
}

static void copy_counter(struct counter *copy, const volatile struct counter *counter)
{
    copy->count = counter->count;
    copy->edge_us = counter->edge_us;
    copy->refused = counter->refused;
    copy->dropped = counter->dropped;
}

void port_snapshot(struct snapshot *snapshot)
{
    uint32_t before = hold_interrupts();
    copy_counter(&snapshot->flow, &flow);
    copy_counter(&snapshot->wheel, &wheel);
    snapshot->clock_us = TIM2_CNT;
    release_interrupts(before);
}

static void watch(volatile struct counter *counter, struct filter filter, uint32_t bit)
{
    counter_set_filter(counter, filter, TIM2_CNT, !(GPIO_IDR(GPIOA) & bit));
    EXTI_FTSR |= bit;
    EXTI_RTSR = filter.rule == FILTER_REST ? EXTI_RTSR | bit : EXTI_RTSR & ~bit;
}

void port_set_filter(enum input input, struct filter filter)
{
    uint32_t before = hold_interrupts();
    if (input == INPUT_FLOW)
        watch(&flow, filter, FLOW_BIT);
    else
        watch(&wheel, filter, WHEEL_BIT);
    release_interrupts(before);
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

uint16_t port_supply_mv(void)
{
    return 0; /* the chip's 3.3 V are regulated and say nothing of the sensors' 5 V */
}

bool port_supply_low(void)
{
    return false;
}

void port_outputs(bool buzzer, bool light)
{
    GPIO_BSRR(GPIOB) = (buzzer ? 1u : 1u << 16) | (light ? 2u : 2u << 16);
}

bool port_receive(uint8_t *byte)
{
    if (receive_out == receive_in)
        return false;
    *byte = receive_ring[receive_out++];
    return true;
}

uint8_t port_room(void)
{
    return (uint8_t)(send_out - send_in - 1);
}

void port_send(const char *bytes, uint8_t length)
{
    while (length--)
        send_ring[send_in++] = *bytes++;
}

uint8_t port_unsent(void)
{
    uint32_t status = USART1_SR;
    uint8_t in_sender = !(status & 0x80) ? 2 : !(status & 0x40);
    return (uint8_t)(send_in - send_out + in_sender);
}

struct keep *port_keep(void)
{
    return &keep;
}

static void feed_sender(void)
{
    if (send_in != send_out && (USART1_SR & 0x80))
        USART1_DR = (uint8_t)send_ring[send_out++];
}

static void start_clock(void)
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

static void start_inputs(bool trusted)
{
    keep_begin(&keep, trusted, &flow, &wheel, &usual);
    flow.edge_us = wheel.edge_us = CLOCK_BEGINS - usual.wheel.us; /* the first edge may come at once */
    GPIO_PUPDR(GPIOA) |= 1u << 0 | 1u << 2 | 1u << 8; /* pull-ups of flow, wheel, switch */
    SYSCFG_EXTICR1 &= ~0xFFu; /* lines 0 and 1 from port A */
    watch(&flow, keep.flow.filter, FLOW_BIT);
    watch(&wheel, keep.wheel.filter, WHEEL_BIT);
    EXTI_IMR |= FLOW_BIT | WHEEL_BIT;
    NVIC_IPR_BYTE(IRQ_USART1) = 0x80; /* edges first */
    NVIC_ISER(0) = 1u << IRQ_EXTI0 | 1u << IRQ_EXTI1;
}

static void start_serial_and_outputs(void)
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
}

static char reset_cause(bool outlived)
{
    uint32_t flags = RCC_CSR;
    RCC_CSR = flags | 1u << 24;
    if (flags & 1u << 27 || !outlived)
        return 'P';
    if (flags & (1u << 29 | 1u << 30))
        return 'W';
    if (flags & 1u << 25)
        return 'B';
    return flags & 1u << 26 ? 'X' : 'U';
}

static uint16_t checksum_of(const uint8_t *bytes, uint32_t length)
{
    uint16_t crc = WIRE_CRC_INITIAL;
    while (length--)
        crc = wire_crc(crc, *bytes++);
    return crc;
}

/* Counted on while memory lasts; by chance after that, from what memory comes up with at power-on. */
static uint8_t next_boot_number(bool outlived)
{
#ifdef BOOT_NUMBER
    outlived = true;
    boot_number = BOOT_NUMBER - 1;
#endif
    if (!outlived)
        boot_number = (uint8_t)(checksum_of(&ram_unused, 8192) ^ ADC1_DR);
    return ++boot_number;
}

static void start_watchdog(void)
{
    IWDG_KR = 0x5555;
    IWDG_PR = 3; /* ms, by an oscillator of its own */
    IWDG_RLR = 500;
    IWDG_KR = 0xCCCC;
}

int main(void)
{
    static struct identity identity;
    bool outlived = program_mark == RUNNING;
    identity.reset_cause = reset_cause(outlived);
    program_mark = RUNNING;
    start_clock();
    start_inputs(outlived && identity.reset_cause != 'P' && identity.reset_cause != 'B');
    start_serial_and_outputs();
    identity.boot = next_boot_number(outlived);
    identity.serial = (uint32_t)checksum_of((const uint8_t *)UNIQUE_NUMBER, 12) << 16
                    | checksum_of((const uint8_t *)UNIQUE_NUMBER, 11);
    identity.name = BOARD_NAME;
    identity.kind = "stm32f405";
    identity.firmware = "1.1.0";
    identity.adc_full_scale = ADC_FULL_SCALE;
    identity.capabilities = BOARD_FITTED;
#ifdef EMULATED_EDGES
    emulated_edges_start();
#endif
    start_watchdog();
    SYSTICK_RVR = clock_hz / 1000 - 1;
    SYSTICK_CSR = 7;
    board_start(&identity);
    for (;;) {
        IWDG_KR = 0xAAAA;
        feed_sender();
        board_pass();
        if (send_in == send_out)
            __asm__ volatile("wfi"); /* until an edge, a byte, or the next ms */
    }
}
