// SPDX-License-Identifier: Apache-2.0
/* What happens before main. */
#include "startup.h"

extern uint32_t data_begins, data_ends, data_image, bss_begins, bss_ends;

int main(void);

void start(void)
{
    const uint32_t *from = &data_image;
    for (uint32_t *to = &data_begins; to < &data_ends;)
        *to++ = *from++;
    for (uint32_t *to = &bss_begins; to < &bss_ends;)
        *to++ = 0;
    main();
}

void stand_still(void)
{
    for (;;)
        ;
}
