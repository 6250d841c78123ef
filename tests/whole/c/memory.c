/* SPDX-License-Identifier: Apache-2.0 */
/* Memory that runs out: memory GOOD BAD MAKER. Each story is told again and again, with memory for
   one allocation more each time, until it comes to its end: whatever call it fails in must say so,
   and nothing may be thrown, lost or told by halves. */
#include "check.h"

void memory_for(long allocations);

static int fails(int status) {
    CHECK(status == TELLTALE_OK || status == TELLTALE_END || status == TELLTALE_NO_MEMORY);
    return status == TELLTALE_NO_MEMORY;
}

static unsigned values_of(const telltale_event* event) {
    unsigned values = 0;
    if (event->message != NULL)
        for (const telltale_value* v = event->message->values; v != NULL; v = v->next)
            ++values;
    return values;
}

/* Frames of a stream, its events, and the vehicle that hears them. */
static int stream_story(void) {
    static const unsigned char frames[][8] = {
        {0x06, 0x41, 0x0C, 0x1A, 0xF8, 0x05, 0x7B, 0},
        {0x10, 0x14, 0x49, 0x02, 0x01, '1', 'T', 'T'},
        {0x21, 'Z', 'Z', '0', '0', '0', '0', '0'},
        {0x22, '0', '0', '0', '0', '0', '0', '1'},
        {0x04, 0x43, 0x01, 0x01, 0x43, 0, 0, 0},
        {0x06, 0x41, 0x00, 0xBE, 0x3F, 0xA8, 0x13, 0},
        {0x23, 0, 0, 0, 0, 0, 0, 0},
    };
    telltale_stream* stream = NULL;
    telltale_vehicle* vehicle = NULL;
    const telltale_vehicle_facts* facts = NULL;
    const telltale_event* event = NULL;
    const char* text = NULL;
    size_t size = 0;
    telltale_error error;
    unsigned values = 0;
    int status = telltale_stream_new(NULL, &stream, &error);
    CHECK(status == error.status && (status == TELLTALE_OK) == (stream != NULL));
    if (fails(status))
        return 0;
    int done = 0;
    if (fails(telltale_vehicle_new(&vehicle)))
        goto out;
    CHECK(telltale_stream_attach(stream, vehicle) == TELLTALE_OK);
    for (size_t i = 0; i < sizeof frames / sizeof *frames; ++i) {
        status = telltale_stream_can(stream, 0, 0x7E8, 0, frames[i], 8, (int64_t)i, i);
        if (fails(status)) {
            CHECK(telltale_stream_next(stream, &event) == TELLTALE_UNUSABLE && event == NULL);
            CHECK(telltale_stream_finish(stream) == TELLTALE_UNUSABLE);
            /* The picture may have heard half of it. */
            CHECK(telltale_vehicle_look(vehicle, &facts) == TELLTALE_UNUSABLE);
            CHECK(telltale_vehicle_json(vehicle, 0, &text, &size) == TELLTALE_UNUSABLE);
            goto out;
        }
        while (telltale_stream_next(stream, &event) == TELLTALE_OK)
            values += values_of(event);
    }
    CHECK(values > 3);
    if (fails(telltale_stream_finish(stream)) || fails(telltale_vehicle_look(vehicle, &facts)) ||
        fails(telltale_vehicle_json(vehicle, 0, &text, &size)) ||
        fails(telltale_vehicle_text(vehicle, 0, &text, &size)))
        goto out;
    done = facts->ecus == 1 && facts->vin.size == 17 && size > 500;
    CHECK(done);
out:
    telltale_stream_free(stream);
    telltale_vehicle_free(vehicle);
    return done;
}

static unsigned char* bytes;
static size_t bytes_size;
static unsigned heard_values;

static int hear(void* user, const telltale_event* event) {
    (void)user;
    heard_values += values_of(event);
    return TELLTALE_GO_ON;
}

/* A dump, asked and told. */
static int dump_story(void) {
    telltale_dump* dump = NULL;
    telltale_error error;
    const telltale_event* event = NULL;
    if (fails(telltale_dump_open_memory(bytes, bytes_size, NULL, &dump, &error))) {
        CHECK(dump == NULL && error.status == TELLTALE_NO_MEMORY);
        return 0;
    }
    int done = 0;
    for (int i = 0; i < 50; ++i)
        if (fails(telltale_dump_next(dump, &event))) {
            CHECK(event == NULL);
            goto out;
        }
    heard_values = 0;
    if (fails(telltale_dump_read(dump, hear, NULL))) {
        CHECK(telltale_dump_next(dump, &event) == TELLTALE_UNUSABLE);
        goto out;
    }
    done = heard_values > 20;
    CHECK(done);
out:
    telltale_dump_free(dump);
    return done;
}

static int vehicle_story(const char* path) {
    telltale_vehicle* vehicle = NULL;
    telltale_error error;
    const int status = telltale_vehicle_load(path, NULL, &vehicle, &error);
    CHECK(error.status == status && (vehicle != NULL) == (status == TELLTALE_OK));
    const int done = !fails(status);
    telltale_vehicle_free(vehicle);
    return done;
}

static int catalogue_story(void) {
    telltale_catalogue* all = NULL;
    const int done = !fails(telltale_catalogue_new(NULL, &all));
    CHECK((all != NULL) == done);
    telltale_catalogue_free(all);
    return done;
}

static unsigned char* maker;
static size_t maker_size;

/* Parameters of one's own: read, decoded with, listed. */
static int own_story(void) {
    static const unsigned char oil[] = {0x62, 0x11, 0x01, 0x0F, 0xA0, 0x82, 0x02};
    const telltale_named_text text = {"maker", (const char*)maker, maker_size};
    telltale_extension* extension = NULL;
    telltale_stream* stream = NULL;
    telltale_catalogue* all = NULL;
    telltale_options options = TELLTALE_OPTIONS_INIT;
    telltale_error error;
    int done = 0;
    const int status = telltale_extension_read(&text, 1, NULL, NULL, &extension, &error);
    CHECK(error.status == status && (extension != NULL) == (status == TELLTALE_OK));
    if (fails(status))
        return 0;
    options.extension = extension;
    done = !fails(telltale_catalogue_new(extension, &all)) &&
           !fails(telltale_stream_new(&options, &stream, &error)) &&
           !fails(telltale_stream_message(stream, 0, 0x7E8, 0, oil, sizeof oil, 0, 0));
    telltale_extension_free(extension);
    telltale_stream_free(stream);
    telltale_catalogue_free(all);
    return done;
}

static telltale_run* good;
static telltale_run* bad;

static int run_story(void) {
    telltale_run* run = NULL;
    telltale_error error;
    const int done =
        !fails(telltale_run_load_memory(bytes, bytes_size, "a drive", NULL, &run, &error));
    CHECK((run != NULL) == done);
    telltale_run_free(run);
    return done;
}

static int contrast_story(void) {
    telltale_contrast* contrast = NULL;
    telltale_error error;
    const telltale_run* const runs[] = {bad};
    telltale_contrast_options options = TELLTALE_CONTRAST_OPTIONS_INIT;
    options.only = "MAP";
    const char* text = NULL;
    size_t size = 0;
    if (fails(telltale_contrast_runs(good, runs, 1, &options, &contrast, &error)))
        return 0;
    const int done = !fails(telltale_contrast_json(contrast, 0, &text, &size));
    telltale_contrast_free(contrast);
    return done;
}

/* Memory for 0, 1, 2, ... allocations; further apart where there are many. */
static void tell(const char* name, int (*story)(void), double stride) {
    long failed = 0;
    for (long room = 0;; room += 1 + (room < 200 ? 0 : (long)((double)room * stride))) {
        memory_for(room);
        const int done = story();
        memory_for(-1);
        if (done) {
            printf("%s: ran out of memory %ld times, came to its end with %ld allocations\n", name,
                   failed, room);
            CHECK(failed > 5);
            return;
        }
        ++failed;
    }
}

static const char* path;
static int load_story(void) {
    return vehicle_story(path);
}

int main(int argc, char** argv) {
    CHECK(argc == 4);
    maker = read_file(argv[3], &maker_size);
    bytes = read_file(argv[2], &bytes_size);
    CHECK(bytes_size > 40000);
    bytes_size = 40000;
    path = argv[2];
    tell("stream", stream_story, 0);
    tell("dump", dump_story, 0.01);
    tell("vehicle", load_story, 0.1);
    tell("catalogue", catalogue_story, 0.1);
    tell("own", own_story, 0.1);
    tell("run", run_story, 0.05);
    telltale_error error;
    CHECK(telltale_run_load(argv[1], NULL, &good, &error) == TELLTALE_OK);
    CHECK(telltale_run_load(argv[2], NULL, &bad, &error) == TELLTALE_OK);
    tell("contrast", contrast_story, 0.6);
    telltale_run_free(good);
    telltale_run_free(bad);
    free(bytes);
    free(maker);
    return 0;
}
