/* SPDX-License-Identifier: Apache-2.0 */
/* What the C programs here share. */
#ifndef CHECK_H
#define CHECK_H
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <telltale.h>

#define CHECK(what)                                                                                \
    do {                                                                                           \
        if (!(what)) {                                                                             \
            printf("%s:%d: FAILED: %s\n", __FILE__, __LINE__, #what);                              \
            exit(1);                                                                               \
        }                                                                                          \
    } while (0)

static inline int text_is(telltale_text text, const char* wanted) {
    return text.size == strlen(wanted) && memcmp(text.data, wanted, text.size) == 0 &&
           text.data[text.size] == '\0';
}

/* A whole file in memory of exactly its size, so that reading past its end is seen. */
static inline unsigned char* read_file(const char* path, size_t* size) {
    FILE* file = fopen(path, "rb");
    CHECK(file != NULL && fseek(file, 0, SEEK_END) == 0);
    const long end = ftell(file);
    CHECK(end > 0 && fseek(file, 0, SEEK_SET) == 0);
    *size = (size_t)end;
    unsigned char* bytes = malloc(*size);
    CHECK(bytes != NULL && fread(bytes, 1, *size, file) == *size);
    fclose(file);
    return bytes;
}
#endif
