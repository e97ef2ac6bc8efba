// SPDX-License-Identifier: Apache-2.0
/* What the parts of the emulated board share: the chip, and who does what. */
#ifndef EMULATOR_H
#define EMULATOR_H

#include <stdbool.h>
#include <stdint.h>

#include <simavr/sim_avr.h>

#define HZ 16000000ull
#define NEVER UINT64_MAX

extern avr_t *avr;
extern bool held; /* the reset pin is low */

void die(const char *what);
double random_unit(void); /* 0 to 1, the same each time */

/* chip.c */
void chip_start(void);
int chip_step(void); /* runs one instruction; the state of libsimavr after it */
void chip_watchdog_goes_on(bool on); /* after a reset by the pin */
void chip_wear(unsigned first, unsigned last); /* EEPROM cells that keep nothing */
void chip_load_loader(const char *path);

/* pins.c: pulses, switch, voltages */
enum { FLOW, WHEEL, CHANNELS };

void pins_start(void);
void pins_record_edges(const char *path);
void pins_record_reset(void);
bool pins_set_rate(const char *channel, double hz, double scatter); /* false: no such channel */
bool pins_burst(const char *channel, uint32_t edges, double gap_us);
void pins_level(const char *channel, bool low);
void pins_switch(bool closed);
void pins_pressure(double volts);
void pins_board_down(void);
void pins_board_up(void);
uint64_t pins_pass_while_held(void); /* does what is due; when to come back */
void pins_look_whether_listening(void); /* after each instruction */
void pins_print_truth(void);
void pins_end(void);

/* serial_line.c: pseudo-terminal or file */
void serial_to_file(const char *path);
void serial_to_terminal(void);
void serial_start(void);
void serial_queue_hex(const char *hex);
void serial_forget(void);
void serial_let_leave(void); /* writes out what has left by now */
void serial_cut(void); /* a reset: what has not left is lost */
void serial_look_at_terminal(void);
bool serial_feed_board(void); /* true while bytes wait */

#endif
