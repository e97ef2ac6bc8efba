// SPDX-License-Identifier: Apache-2.0
/* The serial line, the converter and the other pins. Nothing here may hold interrupts off, or run inside one, for longer
 * than a few µs: see edges.c. Sending and the converter are polled for that reason; receiving is not, because making a
 * report takes longer than two characters do. */
#ifdef __AVR_ATmega328P__

#include "chip.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>

#include "../core/board.h"
#include "../core/port.h"
#include "edges.h"
#include "restart.h"

#ifndef BOARD_NAME
#define BOARD_NAME "hand-boom"
#endif
#define FIRMWARE_VERSION "1.1.0"

#define ADC_FULL_SCALE 1023u
#define ADC_START (_BV(ADEN) | _BV(ADSC) | _BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0)) /* 104 µs a reading */
#define ADC_PRESSURE (_BV(REFS0))
#define ADC_BANDGAP (_BV(REFS0) | 0x0E) /* the chip's own 1.1 V, measured against its supply */
#define BANDGAP_MV 1100UL /* ± 10 % */
#define SUPPLY_LOW_MV 4300u

/* With U2X: 115,200 makes 117,647 at 16 MHz, 2.1 % fast, the nearest there is; 250,000 is exact. */
#ifndef BOARD_BAUD
#define BOARD_BAUD 115200UL
#endif
#define BAUD_DIVISOR ((F_CPU + 4UL * BOARD_BAUD) / (8UL * BOARD_BAUD) - 1)

#define RECEIVE_SIZE 64u

static volatile uint8_t receive_ring[RECEIVE_SIZE];
static volatile uint8_t receive_in;
static uint8_t receive_out;
static char send_ring[256];
static uint8_t send_in;
static uint8_t send_out;
static uint16_t supply_mv;

ISR(USART_RX_vect)
{
    uint8_t byte = UDR0;
    uint8_t next = (uint8_t)((receive_in + 1u) & (RECEIVE_SIZE - 1));
    if (next != receive_out) { /* otherwise the byte is lost, and the checksum will tell */
        receive_ring[receive_in] = byte;
        receive_in = next;
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
        supply_mv = (uint16_t)(BANDGAP_MV * ADC_FULL_SCALE / (*count ? *count : 1));
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

uint16_t port_supply_mv(void)
{
    return supply_mv;
}

bool port_supply_low(void)
{
    return supply_mv && supply_mv < SUPPLY_LOW_MV;
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

uint8_t port_unsent(void)
{
    uint8_t status = UCSR0A;
    uint8_t in_sender = !(status & _BV(UDRE0)) ? 2 : !(status & _BV(TXC0));
    return (uint8_t)(send_in - send_out + in_sender);
}

static void feed_sender(void)
{
    if (send_in != send_out && (UCSR0A & _BV(UDRE0))) {
        UDR0 = (uint8_t)send_ring[send_out++];
        UCSR0A = _BV(U2X0) | _BV(TXC0); /* clears the mark "all sent", which is now a byte's time away */
    }
}

static void start_pins(void)
{
    PORTD |= _BV(PD4); /* pull-up of the switch */
    PORTD &= (uint8_t)~(_BV(PD5) | _BV(PD6));
    DDRD = (uint8_t)((DDRD & ~_BV(PD4)) | _BV(PD5) | _BV(PD6));
}

static void start_serial(void)
{
    receive_in = receive_out = 0;
    UBRR0 = BAUD_DIVISOR;
    UCSR0A = _BV(U2X0) | _BV(TXC0);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXCIE0) | _BV(RXEN0) | _BV(TXEN0);
}

static void start_converter(void)
{
    ADMUX = ADC_PRESSURE;
    ADCSRB = 0;
    DIDR0 = _BV(ADC0D);
    ADCSRA = ADC_START;
}

void chip_start(void)
{
    static struct identity identity;
    cli();
    TIMSK0 = 0; /* a hobby board's library keeps time with it, and its interrupt would delay ours */
    identity.reset_cause = restart_cause();
    edges_start(restart_memory_is_good(identity.reset_cause));
    sei(); /* from here on pulses are counted */
    start_pins();
    identity.serial = restart_serial();
    identity.boot = restart_boot_number();
    start_serial();
    start_converter();
    restart_watch();
    identity.name = BOARD_NAME;
    identity.kind = "atmega328p";
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
