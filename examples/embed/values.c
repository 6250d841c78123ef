/* SPDX-License-Identifier: Apache-2.0 */
/* The C interface in a few lines: values DUMP prints every value in a dump of any known format. */
#include <stdio.h>
#include <telltale.h>

int main(int argc, char** argv) {
    telltale_dump* dump;
    telltale_error error;
    const telltale_event* event;
    if (telltale_dump_open(argc == 2 ? argv[1] : "-", NULL, &dump, &error) != TELLTALE_OK)
        return fprintf(stderr, "%s\n", error.message), 2;
    while (telltale_dump_next(dump, &event) == TELLTALE_OK)
        if (event->value != NULL && event->value->kind == TELLTALE_NUMBER)
            printf("%03X %s: %.*f %s\n", (unsigned)event->message->id, event->value->name.data,
                   event->value->decimals, event->value->number, event->value->unit.data);
    telltale_dump_free(dump);
    return 0;
}
