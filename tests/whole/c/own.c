/* SPDX-License-Identifier: Apache-2.0 */
/* Parameters and codes of one's own in C: examples/maker, and texts that are wrong. */
#include "check.h"

void own_parameters(const char* maker_path);

/* 0FA0 / 10 and 82 - 40, as the maker's file describes data identifier 1101; 0048 / 4 - 12.5. */
static const unsigned char oil[] = {0x62, 0x11, 0x01, 0x0F, 0xA0, 0x82, 0x02};
static const unsigned char volume[] = {0x62, 0x11, 0x02, 0x00, 0x48};
static const unsigned char door[] = {0x41, 0xFD, 0x01};

struct heard {
    unsigned values, problems, dtcs;
    double pressure, temperature;
    char text[64];
};

static int hear(void* user, const telltale_event* event) {
    struct heard* heard = user;
    if (event->problem != NULL)
        ++heard->problems;
    if (event->message == NULL)
        return TELLTALE_GO_ON;
    for (const telltale_problem* one = event->message->problems; one != NULL; one = one->next)
        ++heard->problems;
    for (const telltale_dtc* dtc = event->message->dtcs; dtc != NULL; dtc = dtc->next)
        if (heard->dtcs++ == 0)
            snprintf(heard->text, sizeof heard->text, "%s", dtc->meaning.data);
    for (const telltale_value* value = event->message->values; value != NULL; value = value->next) {
        const telltale_label* label = value->label;
        ++heard->values;
        if (text_is(label->key, "OILP"))
            heard->pressure = value->number;
        if (text_is(label->key, "OILTEMP"))
            heard->temperature = value->number;
        if (text_is(label->key, "OILPSTG") || text_is(label->key, "LDOOR"))
            snprintf(heard->text, sizeof heard->text, "%s", value->text.data);
        if (text_is(label->key, "INJVOL"))
            snprintf(heard->text, sizeof heard->text, "%.2f %s", value->number, label->unit.data);
    }
    return TELLTALE_GO_ON;
}

static telltale_extension* load(const char* path) {
    telltale_extension* extension = NULL;
    telltale_error error;
    const int status = telltale_extension_load(&path, 1, NULL, NULL, &extension, &error);
    if (status != TELLTALE_OK)
        puts(error.message);
    CHECK(status == TELLTALE_OK && extension != NULL && error.message[0] == '\0');
    return extension;
}

static void streams(const char* path) {
    telltale_extension* extension = load(path);
    telltale_options options = TELLTALE_OPTIONS_INIT;
    options.extension = extension;
    telltale_stream* stream = NULL;
    telltale_vehicle* vehicle = NULL;
    CHECK(telltale_stream_new(&options, &stream, NULL) == TELLTALE_OK);
    telltale_extension_free(extension); /* the stream keeps it */
    CHECK(telltale_vehicle_new(&vehicle) == TELLTALE_OK);
    CHECK(telltale_stream_attach(stream, vehicle) == TELLTALE_OK);

    for (int round = 0; round < 3; ++round) { /* the second time its fields are known */
        struct heard heard = {0};
        CHECK(telltale_stream_listen(stream, hear, &heard) == TELLTALE_OK);
        CHECK(telltale_stream_message(stream, 0, 0x7E8, 0, oil, sizeof oil, round, 0) ==
              TELLTALE_OK);
        CHECK(heard.values == 3 && heard.problems == 0 && heard.pressure == 400.0 &&
              heard.temperature == 90.0 && strcmp(heard.text, "high") == 0);
        CHECK(telltale_stream_message(stream, 0, 0x7E8, 0, volume, sizeof volume, round, 0) ==
              TELLTALE_OK);
        CHECK(heard.values == 4 && strcmp(heard.text, "5.50 mm3/stroke") == 0);
        /* Of another ECU nothing is known: it is a problem, no value. */
        CHECK(telltale_stream_message(stream, 0, 0x7EA, 0, oil, sizeof oil, round, 0) ==
              TELLTALE_OK);
        CHECK(heard.values == 4);
    }
    /* The same as a kept event, with the vehicle and without. */
    CHECK(telltale_stream_listen(stream, NULL, NULL) == TELLTALE_OK);
    for (int round = 0; round < 2; ++round) {
        CHECK(telltale_stream_attach(stream, round == 0 ? NULL : vehicle) == TELLTALE_OK);
        CHECK(telltale_stream_message(stream, 0, 0x7E8, 0, oil, sizeof oil, 5, 0) == TELLTALE_OK);
        const telltale_event* event = NULL;
        CHECK(telltale_stream_next(stream, &event) == TELLTALE_OK);
        const telltale_value* pressure = event->message->values;
        CHECK(pressure->number == 400.0 && pressure->next->number == 90.0 &&
              text_is(pressure->label->name, "Engine oil pressure") &&
              text_is(pressure->label->unit, "kPa") && pressure->label->stays);
        const telltale_value* stage = pressure->next->next;
        CHECK(text_is(stage->text, "high") && stage->has_raw && stage->raw == 2);
        CHECK(stage->next == NULL);
        CHECK(telltale_stream_message(stream, 0, 0x7E8, 0, volume, sizeof volume, 5, 0) ==
              TELLTALE_OK);
        CHECK(telltale_stream_next(stream, &event) == TELLTALE_OK);
        CHECK(event->message->values->number == 5.5 &&
              text_is(event->message->values->label->unit, "mm3/stroke"));
    }

    /* P1234, alone in the list of a stored code (43, count, code). */
    const unsigned char codes[] = {0x43, 0x01, 0x12, 0x34};
    struct heard heard = {0};
    CHECK(telltale_stream_listen(stream, hear, &heard) == TELLTALE_OK);
    CHECK(telltale_stream_message(stream, 0, 0x7E8, 0, codes, sizeof codes, 6, 0) == TELLTALE_OK);
    CHECK(heard.dtcs == 1 && strcmp(heard.text, "Oil pump does not reach its stage") == 0);
    CHECK(telltale_stream_finish(stream) == TELLTALE_OK);
    telltale_stream_free(stream);

    const telltale_vehicle_facts* facts = NULL;
    const char* text = NULL;
    size_t size = 0;
    CHECK(telltale_vehicle_look(vehicle, &facts) == TELLTALE_OK && facts->ecus == 2);
    const telltale_code* code = telltale_vehicle_code(vehicle, 0, 0);
    CHECK(code != NULL && text_is(code->meaning, "Oil pump does not reach its stage"));
    CHECK(telltale_vehicle_json(vehicle, TELLTALE_SI, &text, &size) == TELLTALE_OK);
    CHECK(strstr(text, "Oil pump does not reach its stage") != NULL);
    CHECK(strstr(text, "Engine oil pressure") != NULL);
    telltale_vehicle_free(vehicle);
}

static void without_handle(const char* path) {
    telltale_extension* extension = load(path);
    telltale_options options = TELLTALE_OPTIONS_INIT;
    options.extension = extension;
    struct heard heard = {0};
    CHECK(telltale_decode(door, sizeof door, TELLTALE_ECU, &options, hear, &heard) == TELLTALE_OK);
    CHECK(heard.values == 1 && heard.problems == 0 && strcmp(heard.text, "open") == 0);
    CHECK(telltale_decode(door, sizeof door, TELLTALE_ECU, NULL, hear, &heard) == TELLTALE_OK);
    CHECK(heard.values == 1 && heard.problems == 1);
    /* The row names an ECU, and nobody says which one speaks. */
    CHECK(telltale_decode(oil, sizeof oil, TELLTALE_ECU, &options, hear, &heard) == TELLTALE_OK);
    CHECK(heard.values == 1 && heard.pressure == 0.0);
    options.units = 7;
    CHECK(telltale_decode(door, sizeof door, TELLTALE_ECU, &options, hear, &heard) ==
          TELLTALE_BAD_ARGUMENT);

    char words[80];
    CHECK(telltale_extension_code(extension, 0x1234, -1, words, sizeof words) == 33);
    CHECK(strcmp(words, "Oil pump does not reach its stage") == 0);
    CHECK(telltale_extension_code(extension, 0x1234, 0x1C, words, 9) == 30);
    CHECK(strcmp(words, "Oil pump") == 0);
    CHECK(telltale_extension_code(extension, 0x1235, -1, NULL, 0) == 0);
    CHECK(telltale_extension_code(extension, 0x1234, 256, words, sizeof words) == 0);
    CHECK(telltale_extension_code(NULL, 0x1234, -1, words, sizeof words) == 0);

    telltale_catalogue* all = NULL;
    CHECK(telltale_catalogue_new(extension, &all) == TELLTALE_OK);
    telltale_extension_free(extension); /* the catalogue keeps it */
    CHECK(telltale_catalogue_rows(all, TELLTALE_TABLE_OWN) == 4);
    const size_t at = telltale_catalogue_find(all, TELLTALE_TABLE_OWN, 0x1102);
    const telltale_row* row = telltale_catalogue_row(all, TELLTALE_TABLE_OWN, at);
    CHECK(row != NULL && row->service == 0x22 && row->ecu == 0x7E8 && !row->extended &&
          row->length == 2 && row->fields == 1);
    const telltale_field* field = telltale_catalogue_field(all, TELLTALE_TABLE_OWN, at, 0);
    CHECK(text_is(field->name, "Injected volume") && text_is(field->unit, "mm3/stroke"));
    /* raw * 0.25 - 12.5 */
    CHECK((field->numerator * 0x48 + (double)field->shift) / field->denominator + field->offset ==
          5.5);
    CHECK(telltale_catalogue_find(all, TELLTALE_TABLE_OWN, 0x4711) == SIZE_MAX);
    row = telltale_catalogue_row(all, TELLTALE_TABLE_PIDS, 0);
    CHECK(row != NULL && row->service == 0 && row->ecu == 0);
    telltale_catalogue_free(all);
    CHECK(telltale_catalogue_new(NULL, &all) == TELLTALE_OK);
    CHECK(telltale_catalogue_rows(all, TELLTALE_TABLE_OWN) == 0);
    telltale_catalogue_free(all);
}

/* A drive of a minute, of which the oil pressure alone is read. */
static void runs(const char* path) {
    telltale_extension* extension = load(path);
    char* const log = malloc(64 * 600);
    CHECK(log != NULL);
    size_t size = 0;
    for (int i = 0; i < 600; ++i)
        size += (size_t)sprintf(log + size, "(%d.%d00000) can0 7E8#0762110100%02X8202\n",
                                1000 + i / 10, i % 10, 0xA0 + i % 7);
    telltale_options options = TELLTALE_OPTIONS_INIT;
    options.extension = extension;
    const char* with = NULL;
    const char* without = NULL;
    size_t with_size = 0;
    size_t without_size = 0;
    telltale_run* run = NULL;
    telltale_contrast* told[2] = {NULL};
    telltale_error error;
    for (int i = 0; i < 2; ++i) {
        CHECK(telltale_run_load_memory((const uint8_t*)log, size, "a drive",
                                       i == 0 ? &options : NULL, &run, &error) == TELLTALE_OK);
        CHECK(telltale_contrast_runs(run, NULL, 0, NULL, &told[i], &error) == TELLTALE_OK);
        telltale_run_free(run);
    }
    telltale_extension_free(extension);
    CHECK(telltale_contrast_json(told[0], TELLTALE_SI, &with, &with_size) == TELLTALE_OK);
    CHECK(telltale_contrast_json(told[1], TELLTALE_SI, &without, &without_size) == TELLTALE_OK);
    CHECK(strstr(with, "Engine oil pressure") != NULL);
    CHECK(strstr(without, "Engine oil pressure") == NULL);
    telltale_contrast_free(told[0]);
    telltale_contrast_free(told[1]);
    free(log);
}

static void tell_fault(void* user, const telltale_fault* fault) {
    unsigned* lines = user;
    CHECK(fault->text == 1 && fault->detail.size > 5);
    lines[fault->line < 8 ? fault->line : 0] += 1;
}

static void faults(void) {
    static const char head[] = "table,id,length,row,field,short,bytes,kind,scaling,unit\n";
    static const char good[] = "table,id,length,row,field,short,bytes,kind,scaling,unit\n"
                               "data-id,2001,2,,Good one,,A-B,number,raw / 10,kPa\n";
    static const char wrong[] = "table,id,length,row,field,short,bytes,kind,scaling,unit\n"
                                "data-id,2002,2,,Beyond its end,,C,number,raw,kPa\n"
                                "data-id,2003,1,,Fine,,A,number,raw,kPa\n"
                                "data-id,2004,1,,No such unit,,A,number,raw,furlong\n";
    /* Of exactly their size: what is read past the end is seen. */
    telltale_named_text texts[] = {{"good", NULL, sizeof good - 1},
                                   {"wrong", NULL, sizeof wrong - 1}};
    char* copies[2] = {malloc(sizeof good - 1), malloc(sizeof wrong - 1)};
    CHECK(copies[0] != NULL && copies[1] != NULL);
    texts[0].text = memcpy(copies[0], good, sizeof good - 1);
    texts[1].text = memcpy(copies[1], wrong, sizeof wrong - 1);
    unsigned lines[8] = {0};
    telltale_extension* extension = (telltale_extension*)&extension;
    telltale_error error;
    CHECK(telltale_extension_read(texts, 2, tell_fault, lines, &extension, &error) ==
          TELLTALE_FAULTY);
    CHECK(extension == NULL && error.status == TELLTALE_FAULTY && error.line == 2);
    CHECK(strncmp(error.message, "wrong:2: ", 9) == 0 && strchr(error.message, '\n') == NULL);
    CHECK(lines[2] > 0 && lines[3] == 0 && lines[4] > 0 && lines[0] == 0);
    CHECK(telltale_extension_read(texts, 2, NULL, NULL, &extension, NULL) == TELLTALE_FAULTY);
    CHECK(telltale_extension_read(texts, 1, NULL, NULL, &extension, &error) == TELLTALE_OK);
    telltale_extension_free(extension);
    CHECK(telltale_extension_read(NULL, 0, NULL, NULL, &extension, &error) == TELLTALE_OK);
    telltale_extension_free(extension);
    telltale_extension_free(NULL);
    free(copies[0]);
    free(copies[1]);

    CHECK(telltale_extension_read(NULL, 1, NULL, NULL, &extension, &error) ==
          TELLTALE_BAD_ARGUMENT);
    const telltale_named_text nameless = {NULL, head, sizeof head - 1};
    CHECK(telltale_extension_read(&nameless, 1, NULL, NULL, &extension, &error) ==
          TELLTALE_BAD_ARGUMENT);
    const telltale_named_text empty = {"empty", NULL, 1};
    CHECK(telltale_extension_read(&empty, 1, NULL, NULL, &extension, &error) ==
          TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_extension_read(&nameless, 1, NULL, NULL, NULL, &error) == TELLTALE_BAD_ARGUMENT);
    const char* const nowhere[] = {"/nowhere/at/all.csv"};
    CHECK(telltale_extension_load(nowhere, 1, NULL, NULL, &extension, &error) ==
          TELLTALE_CANNOT_OPEN);
    const char* const folder[] = {"/"};
    CHECK(telltale_extension_load(folder, 1, NULL, NULL, &extension, &error) ==
          TELLTALE_IS_DIRECTORY);
    const char* const none[] = {NULL};
    CHECK(telltale_extension_load(none, 1, NULL, NULL, &extension, &error) ==
          TELLTALE_BAD_ARGUMENT);
}

void own_parameters(const char* maker_path) {
    streams(maker_path);
    without_handle(maker_path);
    runs(maker_path);
    faults();
}
