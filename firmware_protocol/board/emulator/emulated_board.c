// SPDX-License-Identifier: Apache-2.0
/* An ATmega328P with the board's firmware: pulses and voltages on its pins from a scenario, its serial line on a
 * pseudo-terminal or a file.
 *
 *   emulated_board FIRMWARE.elf SCENARIO [--speed N | --flat-out] [--pty | --lines FILE] [--edges FILE] [--eeprom FILE]
 *                  [--loader FILE.hex]
 *
 * --pty prints the terminal's name on the first line of standard output and is meant with --speed (1 = real time).
 * --lines writes what the board sends to FILE, as bytes. --edges writes every falling edge while the board was up, and
 * every reset by the pin, as text: channel or `reset`, cycle.
 * --loader starts each reset in that boot loader, at its lowest address, with the rest of the flash as it is delivered.
 * At the end it prints the truth on standard output, `key value` a line: pulses driven while the board was up, those while
 * it was held in reset or starting, bytes of RAM never used, emulated seconds, seconds it took.
 *
 * Scenario: lines of `SECONDS WHAT VALUE`, in order of time, # begins a comment.
 *   flow HZ [SCATTER]     pulses a second on the flow input; SCATTER 0 to 0.45 moves each by up to that part of a period
 *   wheel HZ [SCATTER]    the same on the wheel input
 *   flow_level low|high   drives the line itself, likewise wheel_level; set that channel's rate to 0
 *   flow_burst N US       N extra edges US µs apart (for glitches), likewise wheel_burst
 *   pressure VOLTS        at the transducer input
 *   supply VOLTS
 *   switch closed|open
 *   send HEX              bytes to the board's serial input
 *   reset SECONDS         reset pin held low for that long; memory is kept
 *   power_cycle SECONDS   the same, memory lost
 *   hang                  the program stands still where it is, interrupts go on, until the watchdog bites
 *   hang_deaf             the same with interrupts off
 *   worn FIRST LAST       the EEPROM cells from FIRST to LAST always read FFh
 *   end
 */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include <simavr/avr_eeprom.h>
#include <simavr/sim_core.h>
#include <simavr/sim_elf.h>

#include "emulator.h"

#define EEPROM_SIZE 1024
#define MCUSR_PLACE 0x54 /* data address of the register that says why the chip was reset */
#define MCUSR_POWER_ON 0x01
#define MCUSR_RESET_PIN 0x02
#define MCUSR_WATCHDOG 0x08

#define SREG_INTERRUPTS 7
#define RAM_BEGINS 0x100
#define RAM_PAINT 0xA5

avr_t *avr;
bool held;
static uint8_t reset_cause;
static uint64_t random_state = 0x9E3779B97F4A7C15ull;

void die(const char *what)
{
    fprintf(stderr, "emulated_board: %s\n", what);
    exit(2);
}

double random_unit(void)
{
    random_state ^= random_state << 13;
    random_state ^= random_state >> 7;
    random_state ^= random_state << 17;
    return (double)(random_state >> 11) / 9007199254740992.0;
}

/* ---- scenario ---- */

static FILE *scenario;
static uint64_t step_cycle = NEVER;
static char step_what[32];
static char step_value[256];
static double step_extra;
static uint64_t release_cycle = NEVER;
static uint8_t *hung; /* where in the flash the program was made to hang */
static uint8_t hung_instruction[2];
static bool finished;

static void read_step(void)
{
    char line[512];
    while (fgets(line, sizeof line, scenario)) {
        double seconds;
        step_extra = 0;
        step_value[0] = 0;
        if (line[0] == '#' || line[0] == '\n')
            continue;
        if (sscanf(line, "%lf %31s %255s %lf", &seconds, step_what, step_value, &step_extra) < 2)
            die("a line of the scenario is not SECONDS WHAT VALUE");
        step_cycle = (uint64_t)llround(seconds * (double)HZ);
        return;
    }
    step_cycle = NEVER;
    finished = true;
}

static void hold_in_reset(double seconds, bool lose_memory)
{
    held = true;
    serial_cut();
    pins_record_reset();
    pins_board_down();
    /* Only a power-on takes the flags of earlier resets away: data sheet, 10.9.1. */
    reset_cause = lose_memory ? MCUSR_POWER_ON : avr->data[MCUSR_PLACE] | MCUSR_RESET_PIN;
    release_cycle = avr->cycle + (uint64_t)llround(seconds * (double)HZ);
    if (lose_memory)
        for (uint32_t i = RAM_BEGINS; i <= avr->ramend; i++)
            avr->data[i] = (uint8_t)(random_unit() * 256);
}

static void release(void)
{
    uint64_t now = avr->cycle;
    avr_reset(avr); /* leaves memory as it is */
    avr->cycle = now;
    avr->data[MCUSR_PLACE] = reset_cause; /* which this emulator does not do by itself */
    chip_watchdog_goes_on(reset_cause & MCUSR_WATCHDOG);
    held = false;
    release_cycle = NEVER;
    serial_forget();
    pins_board_up();
}

/* Puts a jump to itself where the program is about to go on; the next start takes it away again. */
static void hang(bool deaf)
{
    static const uint8_t jump[] = {0xFF, 0xCF};
    while (!avr->sreg[SREG_INTERRUPTS])
        chip_step();
    hung = avr->flash + avr->pc;
    memcpy(hung_instruction, hung, sizeof hung_instruction);
    memcpy(hung, jump, sizeof jump);
    if (deaf)
        avr_sreg_set(avr, SREG_INTERRUPTS, 0);
}

/* The program starts again, perhaps because the watchdog has bitten: then the emulator has forgotten what was to happen
 * when. */
static void recover(void)
{
    if (hung)
        memcpy(hung, hung_instruction, sizeof hung_instruction);
    hung = NULL;
    pins_board_down();
    pins_board_up();
}

static void do_step(void)
{
    double value = atof(step_value);
    const char *what = step_what;
    if (pins_set_rate(what, value, step_extra))
        return;
    if (!strcmp(what, "flow_burst") || !strcmp(what, "wheel_burst"))
        pins_burst(*what == 'f' ? "flow" : "wheel", (uint32_t)value, step_extra);
    else if (!strcmp(what, "pressure"))
        pins_pressure(value);
    else if (!strcmp(what, "supply"))
        avr->vcc = avr->avcc = avr->aref = (uint32_t)llround(value * 1000);
    else if (!strcmp(what, "switch"))
        pins_switch(!strcmp(step_value, "closed"));
    else if (!strcmp(what, "send"))
        serial_queue_hex(step_value);
    else if (!strcmp(what, "reset"))
        hold_in_reset(value, false);
    else if (!strcmp(what, "power_cycle"))
        hold_in_reset(value, true);
    else if (!strcmp(what, "hang"))
        hang(false);
    else if (!strcmp(what, "hang_deaf"))
        hang(true);
    else if (!strcmp(what, "worn"))
        chip_wear((unsigned)value, (unsigned)step_extra);
    else if (!strcmp(what, "flow_level") || !strcmp(what, "wheel_level"))
        pins_level(*what == 'f' ? "flow" : "wheel", !strcmp(step_value, "low"));
    else if (!strcmp(what, "end"))
        finished = true;
    else
        die("the scenario asks for something unknown");
}

/* ---- running ---- */

static uint64_t earliest(uint64_t a, uint64_t b)
{
    return a < b ? a : b;
}

static double wall_seconds(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec * 1e-9;
}

static void keep_pace(double speed, double began)
{
    double ahead = (double)avr->cycle / (double)HZ / speed - (wall_seconds() - began);
    if (ahead > 0)
        usleep((useconds_t)(ahead * 1e6));
}

/* Bytes between data and stack that nothing has ever written to. */
static unsigned ram_never_used(void)
{
    unsigned longest = 0, length = 0;
    for (uint32_t i = RAM_BEGINS; i <= avr->ramend; i++) {
        length = avr->data[i] == RAM_PAINT ? length + 1 : 0;
        longest = length > longest ? length : longest;
    }
    return longest;
}

static void run(double speed)
{
    double began = wall_seconds();
    uint64_t look_at_terminal = 0;
    read_step();
    while (!finished) {
        while (!finished && step_cycle <= avr->cycle) {
            do_step();
            if (!finished)
                read_step();
        }
        if (release_cycle <= avr->cycle)
            release();
        if (look_at_terminal <= avr->cycle) {
            serial_look_at_terminal();
            if (speed > 0)
                keep_pace(speed, began);
            look_at_terminal = avr->cycle + HZ / 1000;
        }
        serial_let_leave();
        bool bytes_wait = serial_feed_board();
        uint64_t next = earliest(look_at_terminal, earliest(step_cycle, release_cycle));
        if (held) {
            next = earliest(next, pins_pass_while_held());
            avr->cycle = next > avr->cycle ? next : avr->cycle + 1;
            continue;
        }
        if (bytes_wait)
            next = earliest(next, avr->cycle + 400);
        do {
            int state = chip_step();
            pins_look_whether_listening();
            if (avr->pc == avr->reset_pc || avr->pc == 0)
                recover();
            if (state == cpu_Crashed || state == cpu_Done)
                die("the firmware has crashed");
        } while (avr->cycle < next);
    }
    serial_let_leave();
    double seconds = (double)avr->cycle / (double)HZ;
    double took = wall_seconds() - began;
    pins_print_truth();
    printf("ram_never_used %u\n", ram_never_used());
    printf("seconds %.6f\ntook %.3f\n", seconds, took);
}

static void start_board(const char *firmware_path, const char *eeprom_path)
{
    static uint8_t eeprom[EEPROM_SIZE];
    elf_firmware_t firmware = {0};
    if (elf_read_firmware(firmware_path, &firmware))
        die("cannot read the firmware");
    avr = avr_make_mcu_by_name("atmega328p");
    if (!avr)
        die("this simavr does not know the ATmega328P");
    avr_init(avr);
    avr->log = 1;
    avr->frequency = HZ;
    avr_load_firmware(avr, &firmware);
    avr->frequency = HZ;
    avr->vcc = avr->avcc = avr->aref = 5000;
    if (eeprom_path) {
        FILE *file = fopen(eeprom_path, "rb");
        memset(eeprom, 0xFF, sizeof eeprom);
        if (file) {
            if (fread(eeprom, 1, sizeof eeprom, file) == 0)
                memset(eeprom, 0xFF, sizeof eeprom);
            fclose(file);
        }
        avr_eeprom_desc_t desc = {.ee = eeprom, .offset = 0, .size = EEPROM_SIZE};
        avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &desc);
    }
    memset(avr->data + RAM_BEGINS, RAM_PAINT, avr->ramend + 1 - RAM_BEGINS);
    chip_start();
    serial_start();
    avr->data[MCUSR_PLACE] = MCUSR_POWER_ON;
    pins_start();
}

static void save_eeprom(const char *path)
{
    static uint8_t eeprom[EEPROM_SIZE];
    avr_eeprom_desc_t desc = {.ee = eeprom, .offset = 0, .size = EEPROM_SIZE};
    avr_ioctl(avr, AVR_IOCTL_EEPROM_GET, &desc);
    FILE *file = fopen(path, "wb");
    if (!file || fwrite(desc.ee, 1, EEPROM_SIZE, file) != EEPROM_SIZE)
        die("cannot write the EEPROM file");
    fclose(file);
}

int main(int argc, char **argv)
{
    double speed = 0;
    const char *eeprom_path = NULL, *loader_path = NULL;
    if (argc < 3)
        die("needs FIRMWARE.elf and SCENARIO");
    for (int i = 3; i < argc; i++) {
        const char *value = i + 1 < argc ? argv[i + 1] : "";
        if (!strcmp(argv[i], "--flat-out"))
            speed = 0;
        else if (!strcmp(argv[i], "--pty"))
            serial_to_terminal();
        else if (!strcmp(argv[i], "--speed"))
            speed = atof(value), i++;
        else if (!strcmp(argv[i], "--eeprom"))
            eeprom_path = value, i++;
        else if (!strcmp(argv[i], "--loader"))
            loader_path = value, i++;
        else if (!strcmp(argv[i], "--lines"))
            serial_to_file(value), i++;
        else if (!strcmp(argv[i], "--edges"))
            pins_record_edges(value), i++;
        else
            die("unknown option");
    }
    scenario = fopen(argv[2], "r");
    if (!scenario)
        die("cannot open the scenario");
    start_board(argv[1], eeprom_path);
    if (loader_path)
        chip_load_loader(loader_path);
    run(speed);
    if (eeprom_path)
        save_eeprom(eeprom_path);
    pins_end();
    return 0;
}
