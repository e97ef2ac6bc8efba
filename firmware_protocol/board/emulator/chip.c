// SPDX-License-Identifier: Apache-2.0
/* Where the chip differs from what libsimavr makes of it, and what may stand in its flash and EEPROM besides the program. */
#include <stdlib.h>
#include <string.h>

#include <simavr/avr_eeprom.h>
#include <simavr/sim_hex.h>
#include <simavr/sim_interrupts.h>

#include "emulator.h"

#define TIFR1_PLACE 0x36
#define TIMSK1_PLACE 0x6F
#define CAPTURE_BIT 0x20 /* in both */
#define CAPTURE_VECTOR 10
#define OVERFLOW_BIT 0x01
#define OVERFLOW_VECTOR 13

#define WATCHDOG_PLACE 0x60
#define WATCHDOG_INTERRUPTS 0x40
#define WATCHDOG_CHANGE 0x10
#define WATCHDOG_RESETS 0x08
#define WATCHDOG_VECTOR 6
#define WATCHDOG_HZ 128000

#define UCSR0A_PLACE 0xC0
#define UCSR0B_PLACE 0xC1
#define SENDER_EMPTY 0x20
#define SENDER_ON 0x08

static unsigned worn_first = 1, worn_last; /* EEPROM cells; none at first */

void chip_wear(unsigned first, unsigned last)
{
    worn_first = first;
    worn_last = last;
}

/* The emulator writes to any cell; a worn one does not keep it. */
static void spoil_worn_cells(void)
{
    uint8_t blank = 0xFF;
    for (unsigned cell = worn_first; cell <= worn_last; cell++) {
        avr_eeprom_desc_t desc = {.ee = &blank, .offset = (uint16_t)cell, .size = 1};
        avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &desc);
    }
}

static avr_int_vector_t *vector_of(unsigned number)
{
    for (int i = 0; i < avr->interrupts.vector_count; i++)
        if (avr->interrupts.vector[i]->vector == number)
            return avr->interrupts.vector[i];
    die("the emulator lacks an interrupt");
    return NULL;
}

static void raise_again(unsigned number)
{
    avr_int_vector_t *vector = vector_of(number);
    if (!vector->pending)
        avr_raise_interrupt(avr, vector);
}

static uint8_t timer_flags; /* as the last instruction left them */

/* Writing a 1 to a timer's flag clears that flag. This emulator clears the others with it, and forgets their interrupts:
 * a turn of the timer would be lost as the firmware clears a capture. */
static void timer_flags_written(avr_t *chip, avr_io_addr_t place, uint8_t value, void *param)
{
    (void)param;
    uint8_t kept = timer_flags & (uint8_t)~value;
    chip->data[place] |= kept;
    if (kept & OVERFLOW_BIT)
        raise_again(OVERFLOW_VECTOR);
    if (kept & CAPTURE_BIT)
        raise_again(CAPTURE_VECTOR);
}

/* The chip serves an interrupt whose mark was set while it was switched off, as soon as it is switched on; this emulator
 * forgets it. Only the timer's capture is ever switched off and on. */
static void serve_capture_that_waited(void)
{
    if (avr->data[TIFR1_PLACE] & avr->data[TIMSK1_PLACE] & CAPTURE_BIT)
        raise_again(CAPTURE_VECTOR);
}

/* The watchdog interrupts, and resets the chip at its next time-out if nobody has served that (data sheet, 10.9.2). This emulator
 * would ask for the interrupt again and again; it does reset where the interrupt is switched off. */
static void reset_if_watchdog_is_not_served(void)
{
    static uint64_t asked = NEVER;
    static avr_int_vector_t *vector;
    if (!vector)
        vector = vector_of(WATCHDOG_VECTOR);
    if (!vector->pending) {
        asked = NEVER;
        return;
    }
    uint8_t value = avr->data[WATCHDOG_PLACE];
    uint64_t time_out = (2048ull << ((value & 7) | (value & 0x20) >> 2)) * HZ / WATCHDOG_HZ;
    if (asked == NEVER)
        asked = avr->cycle;
    else if (avr->cycle - asked > time_out - HZ / 1000)
        avr->data[WATCHDOG_PLACE] &= (uint8_t)~WATCHDOG_INTERRUPTS;
}

/* As long as its flag is set the watchdog is on, at its shortest time-out, whatever else resets the chip: data sheet, 10.9.2. */
void chip_watchdog_goes_on(bool on)
{
    int place = AVR_DATA_TO_IO(WATCHDOG_PLACE);
    if (!on)
        return;
    avr->io[place].w.c(avr, WATCHDOG_PLACE, WATCHDOG_CHANGE | WATCHDOG_RESETS, avr->io[place].w.param);
    avr->io[place].w.c(avr, WATCHDOG_PLACE, WATCHDOG_RESETS, avr->io[place].w.param);
}

/* Switching the sender on finds it empty. This emulator knows that only after a reset, and programs and loaders switch it
 * off and on again. */
static void ready_the_sender(void)
{
    static bool was_on;
    bool on = avr->data[UCSR0B_PLACE] & SENDER_ON;
    if (on && !was_on)
        avr->data[UCSR0A_PLACE] |= SENDER_EMPTY;
    was_on = on;
}

/* A loader built by a newer compiler may be a few bytes too long for its place at the end of the flash; it then goes into
 * the next larger boot section. Its code does not mind: all its jumps are relative. */
void chip_load_loader(const char *path)
{
    ihex_chunk_p chunks = NULL;
    int count = read_ihex_chunks(path, &chunks);
    if (count <= 0)
        die("cannot read the boot loader");
    uint32_t begin = chunks[0].baseaddr, size = chunks[0].size, flash_size = avr->flashend + 1;
    for (int i = 1; i < count; i++) {
        if (chunks[i].baseaddr == begin + size)
            size += chunks[i].size;
        begin = chunks[i].baseaddr < begin ? chunks[i].baseaddr : begin;
    }
    uint32_t section = flash_size - begin;
    while (section < size + 2) /* two bytes at the very end tell the loader's version */
        section *= 2;
    uint32_t down = section - (flash_size - begin);
    for (int i = 0; i < count; i++) {
        bool version = chunks[i].size == 2 && chunks[i].baseaddr == flash_size - 2;
        memcpy(avr->flash + chunks[i].baseaddr - (version ? 0 : down), chunks[i].data, chunks[i].size);
    }
    free_ihex_chunks(chunks);
    avr->codeend = avr->flashend;
    avr->pc = avr->reset_pc = begin - down;
}

void chip_start(void)
{
    avr_register_io_write(avr, TIFR1_PLACE, timer_flags_written, NULL);
}

int chip_step(void)
{
    int state = avr_run(avr);
    serve_capture_that_waited();
    ready_the_sender();
    reset_if_watchdog_is_not_served();
    spoil_worn_cells();
    timer_flags = avr->data[TIFR1_PLACE];
    return state;
}
