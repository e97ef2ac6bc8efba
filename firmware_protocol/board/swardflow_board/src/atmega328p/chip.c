/* All that touches the chip. Timing: edges are timed in interrupts, so nothing here may hold interrupts off, or run
 * inside one, for longer than a few µs. Sending and the converter are polled for that reason; receiving is not, because
 * making a report takes longer than two characters do. */
#ifdef __AVR_ATmega328P__

#include "chip.h"

#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>
#include <util/atomic.h>

#include "../core/board.h"
#include "../core/port.h"

#ifndef BOARD_NAME
#define BOARD_NAME "hand-boom"
#endif
#define FIRMWARE_VERSION "1.0.0"

#define FLOW_GLITCH_US 100 /* up to 10,000 pulses a second */
#define WHEEL_GLITCH_US 400 /* up to 2,500 */
#define OVERFLOW_US 32768u /* timer 1 counts half µs in 16 bits */
#define HALF_TURN 0x8000u

#define BOOT_NUMBER ((uint8_t *)0) /* address in the EEPROM */
#define ADC_FULL_SCALE 1023u
#define ADC_START (_BV(ADEN) | _BV(ADSC) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0)) /* 104 µs a reading */
#define ADC_PRESSURE (_BV(REFS0))
#define ADC_BANDGAP (_BV(REFS0) | 0x0E) /* the chip's own 1.1 V, measured against its supply */
#define BANDGAP_AT_4V3 (1100UL * ADC_FULL_SCALE / 4300UL) /* reads higher than this below 4.3 V (the 1.1 V: ± 10 %) */

#define RECEIVE_SIZE 64u

static volatile uint32_t high_us; /* µs at the last overflow of timer 1 */
static volatile uint8_t receive_ring[RECEIVE_SIZE];
static volatile uint8_t receive_in;
static uint8_t receive_out;
static char send_ring[256];
static uint8_t send_in;
static uint8_t send_out;
static bool supply_low;

/* Not cleared at a start: see keep.h. */
static volatile struct counter flow __attribute__((section(".noinit")));
static volatile struct counter wheel __attribute__((section(".noinit")));
static struct keep keep __attribute__((section(".noinit")));
static uint8_t reset_flags __attribute__((section(".noinit")));

/* Runs before memory is set up. A start-up loader clears the reset flags; the usual one hands them on in r2. What any
 * other leaves there is taken for flags only if it could be some. */
void chip_note_reset(void) __attribute__((naked, used, section(".init3")));
void chip_note_reset(void)
{
    uint8_t loader;
    __asm__ volatile("mov %0, r2" : "=r"(loader));
    reset_flags = MCUSR ? MCUSR : loader > 0x0F ? 0 : loader;
    MCUSR = 0;
    wdt_disable(); /* after a watchdog reset it is still running, and fast */
}

/* µs at which timer 1 stood, or stands, at `ticks`. Interrupts must be off. */
static inline __attribute__((always_inline)) uint32_t time_of(uint16_t ticks)
{
    uint32_t high = high_us;
    if ((TIFR1 & _BV(TOV1)) && ticks < HALF_TURN)
        high += OVERFLOW_US; /* it has overflowed, and the interrupt has not been served yet */
    return high + (ticks >> 1);
}

ISR(TIMER1_OVF_vect)
{
    high_us += OVERFLOW_US;
}

ISR(TIMER1_CAPT_vect)
{
    /* The timer has noted the time itself, so the rest can wait while a wheel edge, which has only us to time it, is
     * served. This interrupt stays off meanwhile: a noisy input cannot stack it up on itself. */
    uint32_t edge_us = time_of(ICR1);
    TIMSK1 = _BV(TOIE1);
    sei();
    counter_edge(&flow, edge_us, FLOW_GLITCH_US);
    cli();
    TIMSK1 = _BV(TOIE1) | _BV(ICIE1);
}

ISR(INT0_vect)
{
    counter_edge(&wheel, time_of(TCNT1), WHEEL_GLITCH_US);
}

ISR(USART_RX_vect)
{
    uint8_t byte = UDR0;
    uint8_t next = (uint8_t)((receive_in + 1u) & (RECEIVE_SIZE - 1));
    if (next != receive_out) { /* otherwise the byte is lost, and the checksum will tell */
        receive_ring[receive_in] = byte;
        receive_in = next;
    }
}

uint32_t port_clock_us(void)
{
    uint32_t now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE) { now = time_of(TCNT1); }
    return now;
}

void port_snapshot(struct snapshot *snapshot)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        snapshot->flow.count = flow.count;
        snapshot->flow.edge_us = flow.edge_us;
        snapshot->flow.glitch = flow.glitch;
        flow.glitch = false;
        snapshot->wheel.count = wheel.count;
        snapshot->wheel.edge_us = wheel.edge_us;
        snapshot->wheel.glitch = wheel.glitch;
        wheel.glitch = false;
        snapshot->clock_us = time_of(TCNT1);
    }
}

bool port_pressure(uint16_t *count)
{
    /* Once a second or so the supply is measured; the readings after a change of input are not used. */
    enum { SUPPLY = 8000, SUPPLY_SETTLED = SUPPLY + 16, PRESSURE_SETTLED = SUPPLY_SETTLED + 2 };
    static uint16_t turn;
    if (ADCSRA & _BV(ADSC))
        return false;
    *count = ADC;
    turn++;
    if (turn == SUPPLY) {
        ADMUX = ADC_BANDGAP;
    } else if (turn == SUPPLY_SETTLED) {
        supply_low = *count > BANDGAP_AT_4V3;
        ADMUX = ADC_PRESSURE;
    } else if (turn == PRESSURE_SETTLED) {
        turn = 0;
    }
    ADCSRA = ADC_START;
    return turn <= SUPPLY;
}

bool port_switch_closed(void)
{
    return !(PIND & _BV(PD4));
}

bool port_supply_low(void)
{
    return supply_low;
}

void port_outputs(bool buzzer, bool light)
{
    uint8_t wanted = (uint8_t)((buzzer ? _BV(PD5) : 0) | (light ? _BV(PD6) : 0));
    uint8_t others = (uint8_t)(PORTD & ~(_BV(PD5) | _BV(PD6)));
    if (PORTD != (others | wanted))
        PORTD = others | wanted;
}

bool port_receive(uint8_t *byte)
{
    if (receive_out == receive_in)
        return false;
    *byte = receive_ring[receive_out];
    receive_out = (uint8_t)((receive_out + 1u) & (RECEIVE_SIZE - 1));
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

bool port_sent(void)
{
    return send_in == send_out && (UCSR0A & _BV(TXC0));
}

struct keep *port_keep(void)
{
    return &keep;
}

static void feed_sender(void)
{
    if (send_in != send_out && (UCSR0A & _BV(UDRE0))) {
        UDR0 = (uint8_t)send_ring[send_out++];
        UCSR0A = _BV(U2X0) | _BV(TXC0); /* clears the mark "all sent", which is now a byte's time away */
    }
}

static char reset_cause(void)
{
    if (reset_flags & _BV(PORF))
        return 'P';
    if (reset_flags & _BV(WDRF))
        return 'W';
    if (reset_flags & _BV(BORF))
        return 'B';
    if (reset_flags & _BV(EXTRF))
        return 'X';
    return 'U';
}

static uint8_t next_boot_number(void)
{
    uint8_t boot = (uint8_t)(eeprom_read_byte(BOOT_NUMBER) + 1);
    eeprom_update_byte(BOOT_NUMBER, boot);
    return boot;
}

void chip_start(void)
{
    static struct identity identity;
    cli();
    identity.reset_cause = reset_cause();
    if (identity.reset_cause == 'P' || identity.reset_cause == 'B')
        keep.mark = 0; /* the supply was gone or low: memory cannot be trusted */
    keep_begin(&keep, flow.count, wheel.count);
    counter_clear(&flow, FLOW_GLITCH_US);
    counter_clear(&wheel, WHEEL_GLITCH_US);

    PORTB |= _BV(PB0); /* pull-ups of the inputs */
    PORTD |= _BV(PD2) | _BV(PD4);
    DDRB &= (uint8_t)~_BV(PB0);
    DDRD = (uint8_t)((DDRD & ~(_BV(PD2) | _BV(PD4))) | _BV(PD5) | _BV(PD6));

    TIMSK0 = 0; /* a hobby board's library keeps time with it, and its interrupt would delay ours */
    TCCR1A = 0;
    TCCR1B = _BV(ICNC1) | _BV(CS11); /* noise filter on, falling edge, clock / 8 */
    TCNT1 = 0;
    high_us = 0;
    TIFR1 = _BV(ICF1) | _BV(TOV1);
    TIMSK1 = _BV(ICIE1) | _BV(TOIE1);
    EICRA = _BV(ISC01);
    EIFR = _BV(INTF0);
    EIMSK = _BV(INT0);

    UBRR0 = 16; /* 117,647 baud, 2.1 % fast, the nearest there is at 16 MHz */
    UCSR0A = _BV(U2X0) | _BV(TXC0);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXCIE0) | _BV(RXEN0) | _BV(TXEN0);

    ADMUX = ADC_PRESSURE;
    ADCSRB = 0;
    DIDR0 = _BV(ADC0D);
    ADCSRA = ADC_START;

    sei();
    wdt_enable(WDTO_500MS);
    identity.boot = next_boot_number();
    identity.name = BOARD_NAME;
    identity.firmware = FIRMWARE_VERSION;
    identity.adc_full_scale = ADC_FULL_SCALE;
    identity.capabilities = FITTED_FLOW | FITTED_WHEEL | FITTED_PRESSURE | FITTED_SWITCH | FITTED_BUZZER | FITTED_LIGHT;
    board_start(&identity);
}

void chip_pass(void)
{
    wdt_reset();
    feed_sender();
    board_pass();
}

#endif
