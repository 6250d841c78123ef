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
    while (telltale_dump_next(dump, &event) == TELLTALE_OK) {
        if (event->kind != TELLTALE_EVENT_MESSAGE)
            continue;
        for (const telltale_value* v = event->message->values; v != NULL; v = v->next)
            if (v->kind == TELLTALE_NUMBER)
                printf("%03X %s: %.*f %s\n", (unsigned)event->message->id, v->label->name.data,
                       v->label->decimals, v->number, v->label->unit.data);
    }
    telltale_dump_free(dump);
    return 0;
}
