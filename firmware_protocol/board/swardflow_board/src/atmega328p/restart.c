// SPDX-License-Identifier: Apache-2.0
/* No boot loader can be relied on. Some clear the reset flags and tell nobody; an older one does not switch the watchdog
 * off and is itself restarted for ever once it has bitten. So the watchdog first interrupts: the program notes that it
 * was the watchdog and starts again by itself, past any loader. Only if interrupts are off, too, is the chip reset. */
#ifdef __AVR_ATmega328P__

#include "restart.h"

#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <avr/wdt.h>

#include "../core/wire.h"

#define RUNNING 0x3C96A55Au /* the program was running: memory holds these by chance once in 2^32 power-ups */
#define BITTEN 0xB17E5EEDu
#define ALL_FLAGS (_BV(PORF) | _BV(EXTRF) | _BV(BORF) | _BV(WDRF))
#define LOADER_VERSION ((const uint8_t *)FLASHEND) /* where the usual loader writes its major version */
#define LOADER_HANDS_ON 5 /* from this version on it leaves the reset flags in r2; from memory */

static uint32_t program_mark __attribute__((section(".noinit")));
static uint32_t watchdog_mark __attribute__((section(".noinit")));
static uint8_t flags_found __attribute__((section(".noinit")));
static uint8_t r2_found __attribute__((section(".noinit")));

/* Runs before memory is set up, and before the compiler uses r2. */
void restart_look(void) __attribute__((naked, used, section(".init3")));
void restart_look(void)
{
    __asm__ volatile("sts %0, r2" : "=m"(r2_found));
    flags_found = MCUSR;
    MCUSR = 0;
    wdt_disable(); /* after a watchdog reset it is still running, and fast */
    TIMSK1 = 0; /* what a reset would have switched off */
    EIMSK = 0;
    UCSR0B = 0;
}

ISR(WDT_vect)
{
    watchdog_mark = BITTEN;
    MCUSR = 0;
    wdt_disable();
    __asm__ volatile("jmp 0"); /* interrupts are off, and chip_start sets up all that it uses */
}

static bool loader_hands_on_flags(void)
{
    uint8_t major = pgm_read_byte(LOADER_VERSION);
    return major >= LOADER_HANDS_ON && major < 0x20;
}

static char cause_of(uint8_t flags)
{
    if (flags & _BV(PORF))
        return 'P';
    if (flags & _BV(WDRF))
        return 'W';
    if (flags & _BV(BORF))
        return 'B';
    if (flags & _BV(EXTRF))
        return 'X';
    return 'U';
}

char restart_cause(void)
{
    bool outlived = program_mark == RUNNING;
    bool bitten = watchdog_mark == BITTEN;
    watchdog_mark = 0;
    program_mark = RUNNING;
    if (flags_found)
        return cause_of(flags_found);
    if (!outlived)
        return 'P';
    if (bitten)
        return 'W';
    if (loader_hands_on_flags() && !(r2_found & ~ALL_FLAGS) && !(r2_found & _BV(PORF)))
        return cause_of(r2_found);
    return 'U';
}

bool restart_memory_is_good(char cause)
{
    return cause != 'P' && cause != 'B'; /* the supply was gone or low */
}

/* ---- what outlives power-off ----
 * EEPROM cells 8 to 15 hold the last eight start numbers, each in the cell of its lowest three bits, so that each cell is
 * written once in eight starts. A number that does not read back is passed over. Cell 0 is left alone: it is the one
 * that a failing supply spoils most often (common practice). */
#define CELLS ((uint8_t *)8)
#define CELL_COUNT 8u
#define SERIAL ((uint8_t *)24) /* four bytes, then their checksum */

static uint8_t *cell(uint8_t number)
{
    return CELLS + number % CELL_COUNT;
}

static bool is_held(uint8_t number)
{
    return eeprom_read_byte(cell(number)) == number;
}

/* The newest number: one whose successor is not there. Where a worn cell makes it seem that there are several, it is
 * the one ahead of the others, counted round. */
static uint8_t newest_number(void)
{
    uint8_t newest = 0xFF;
    bool found = false;
    for (uint8_t i = 0; i < CELL_COUNT; i++) {
        uint8_t number = eeprom_read_byte(CELLS + i);
        if (number % CELL_COUNT != i || is_held((uint8_t)(number + 1)))
            continue;
        if (!found || (int8_t)(number - newest) > 0)
            newest = number;
        found = true;
    }
    return newest;
}

/* A number by chance: from the memory that nothing has set since power-on, which comes up differently in each chip, and the
 * noise in the converter's last bits. */
static uint32_t draw(void)
{
    extern uint8_t __heap_start;
    uint16_t high = WIRE_CRC_INITIAL, low = 0;
    for (const uint8_t *byte = &__heap_start; byte < (const uint8_t *)SP; byte++) {
        high = wire_crc(high, *byte);
        low = wire_crc(low, (uint8_t)(*byte ^ (uint8_t)high));
    }
    for (uint8_t turn = 0; turn < 64; turn++) {
        ADMUX = _BV(REFS0) | 0x0E;
        ADCSRA = _BV(ADEN) | _BV(ADSC) | _BV(ADPS2) | _BV(ADPS1);
        while (ADCSRA & _BV(ADSC))
            ;
        low = wire_crc(low, ADCL);
        high = wire_crc(high, (uint8_t)(ADCH ^ low));
    }
    return (uint32_t)high << 16 | low;
}

uint8_t restart_boot_number(void)
{
    uint8_t number = newest_number();
    for (uint8_t tries = 0; tries < CELL_COUNT; tries++) {
        number++;
        eeprom_update_byte(cell(number), number);
        if (is_held(number))
            return number;
    }
    return (uint8_t)draw(); /* the EEPROM is worn out */
}

static uint16_t checksum_of(uint32_t serial)
{
    uint16_t crc = WIRE_CRC_INITIAL;
    for (uint8_t i = 0; i < sizeof serial; i++, serial >>= 8)
        crc = wire_crc(crc, (uint8_t)serial);
    return crc;
}

uint32_t restart_serial(void)
{
    uint32_t *at = (uint32_t *)SERIAL;
    uint16_t *check = (uint16_t *)(at + 1);
    uint32_t serial = eeprom_read_dword(at);
    if (eeprom_read_word(check) == checksum_of(serial) && serial)
        return serial;
    do
        serial = draw();
    while (!serial);
    eeprom_update_dword(at, serial);
    eeprom_update_word(check, checksum_of(serial));
    return eeprom_read_dword(at) == serial && eeprom_read_word(check) == checksum_of(serial) ? serial : 0;
}

void restart_watch(void)
{
    wdt_reset();
    WDTCSR = _BV(WDCE) | _BV(WDE);
    WDTCSR = _BV(WDIE) | _BV(WDE) | _BV(WDP2) | _BV(WDP0);
}

#endif
