// SPDX-License-Identifier: Apache-2.0
/* The board's firmware without the hobby board's library. */
#include "swardflow_board/src/atmega328p/chip.h"

int main(void)
{
    chip_start();
    for (;;)
        chip_pass();
}
