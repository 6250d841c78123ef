/* SPDX-License-Identifier: Apache-2.0 */
/* The C interface as a C program uses it: use GOOD BAD MAKER. Built as C11, all warnings errors. */
#include "check.h"

#include <math.h>

void own_parameters(const char* maker_path);

struct heard {
    unsigned messages, values, dtcs, problems, frames, comments;
    double rpm;
    telltale_stream* stream; /* to be called from inside */
};

static void hear_message(struct heard* heard, const telltale_message* message) {
    ++heard->messages;
    for (const telltale_value* value = message->values; value != NULL; value = value->next) {
        const telltale_label* label = value->label;
        CHECK(label->name.size > 0 && label->name.data[label->name.size] == '\0');
        CHECK(value->text.data[value->text.size] == '\0');
        ++heard->values;
        if (text_is(label->key, "RPM"))
            heard->rpm = value->number;
    }
    for (const telltale_dtc* dtc = message->dtcs; dtc != NULL; dtc = dtc->next)
        ++heard->dtcs;
    for (const telltale_problem* one = message->problems; one != NULL; one = one->next)
        ++heard->problems;
}

static int hear(void* user, const telltale_event* event) {
    struct heard* heard = user;
    if (heard->stream != NULL) {
        const telltale_event* next = event;
        CHECK(telltale_stream_next(heard->stream, &next) == TELLTALE_BUSY && next == NULL);
        CHECK(telltale_stream_finish(heard->stream) == TELLTALE_BUSY);
    }
    switch (event->kind) {
    case TELLTALE_EVENT_MESSAGE:
        CHECK(event->message != NULL && event->problem == NULL);
        hear_message(heard, event->message);
        return TELLTALE_GO_ON;
    case TELLTALE_EVENT_PROBLEM:
        CHECK(event->problem != NULL && event->message != NULL);
        CHECK(event->message->values == NULL && event->problem->next == NULL);
        ++heard->problems;
        return TELLTALE_GO_ON;
    case TELLTALE_EVENT_FRAME:
        CHECK(event->frame != NULL && event->message == NULL);
        ++heard->frames;
        return TELLTALE_GO_ON;
    case TELLTALE_EVENT_COMMENT:
        ++heard->comments;
        return TELLTALE_GO_ON;
    default:
        CHECK(event->kind < 0); /* a new kind: this list has to grow */
        return TELLTALE_GO_ON;
    }
}

/* Those of one service alone. */
static int choose(void* user, const telltale_message* message) {
    CHECK(message->values == NULL && message->dtcs == NULL && message->problems == NULL);
    return message->service == *(const unsigned*)user;
}

/* 1AF8 / 4 and 7B - 40: ISO 15031-5 annex B, PIDs 0C and 05. */
static const unsigned char answer[] = {0x41, 0x0C, 0x1A, 0xF8, 0x05, 0x7B};

static void versions(void) {
    CHECK(strcmp(telltale_version(), TELLTALE_VERSION_STRING) == 0);
    CHECK(telltale_abi() == TELLTALE_ABI);
    for (int status = -20; status < 5; ++status) {
        CHECK(telltale_status_word(status) != NULL && *telltale_status_word(status) != '\0');
        CHECK(*telltale_status_sentence(status) != '\0');
    }
    CHECK(strcmp(telltale_status_word(TELLTALE_CANNOT_OPEN), "cannot-open") == 0);
    CHECK(sizeof(telltale_error) == 512);
}

static void one_message(void) {
    struct heard heard = {0};
    CHECK(telltale_decode(answer, sizeof answer, TELLTALE_ECU, NULL, hear, &heard) == TELLTALE_OK);
    CHECK(heard.messages == 1 && heard.values == 2 && heard.problems == 0);
    CHECK(heard.rpm == 1726.0);
    /* Cut, empty, of the wrong side. */
    struct heard bad = {0};
    CHECK(telltale_decode(answer, 3, TELLTALE_ECU, NULL, hear, &bad) == TELLTALE_OK);
    CHECK(telltale_decode(NULL, 0, TELLTALE_ANYBODY, NULL, hear, &bad) == TELLTALE_OK);
    CHECK(telltale_decode(answer, sizeof answer, TELLTALE_TESTER, NULL, hear, &bad) == TELLTALE_OK);
    CHECK(bad.problems == 3 && bad.values == 0);

    CHECK(telltale_decode(NULL, 1, TELLTALE_ECU, NULL, hear, &bad) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_decode(answer, sizeof answer, TELLTALE_ECU, NULL, NULL, &bad) ==
          TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_decode(answer, sizeof answer, 3, NULL, hear, &bad) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_decode(answer, sizeof answer, -1, NULL, hear, &bad) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_decode(answer, SIZE_MAX, TELLTALE_ECU, NULL, hear, &bad) == TELLTALE_TOO_LONG);
}

static telltale_stream* new_stream(const telltale_options* options) {
    telltale_stream* stream = NULL;
    telltale_error error;
    CHECK(telltale_stream_new(options, &stream, &error) == TELLTALE_OK && stream != NULL);
    CHECK(error.status == TELLTALE_OK && error.message[0] == '\0');
    return stream;
}

static void kept_events(void) {
    telltale_stream* stream = new_stream(NULL);
    const telltale_event* event = NULL;
    CHECK(telltale_stream_next(stream, &event) == TELLTALE_END && event == NULL);
    unsigned char frame[8] = {0x06};
    memcpy(frame + 1, answer, sizeof answer);
    CHECK(telltale_stream_can(stream, 3, 0x7E8, 0, frame, 7, 5000, 77) == TELLTALE_OK);
    memset(frame, 0xFF, sizeof frame); /* it was read, it is not needed any more */

    CHECK(telltale_stream_next(stream, &event) == TELLTALE_OK);
    CHECK(event->kind == TELLTALE_EVENT_MESSAGE && event->time == 5000);
    const telltale_message* message = event->message;
    CHECK(message->kind == TELLTALE_RESPONSE && message->service == 1 && message->has_id);
    CHECK(message->id == 0x7E8 && !message->extended && message->line == 3 &&
          message->place == 77 && message->frames == 1);
    CHECK(message->size == sizeof answer && memcmp(message->bytes, answer, sizeof answer) == 0);

    CHECK(message->dtcs == NULL && message->problems == NULL);
    const telltale_value* rpm = message->values;
    CHECK(rpm->kind == TELLTALE_NUMBER && rpm->id == 0x0C && rpm->has_raw && rpm->raw == 0x1AF8);
    const telltale_label* label = rpm->label;
    CHECK(text_is(label->name, "Engine speed") && text_is(label->key, "RPM") &&
          text_is(label->unit, "rpm") && text_is(label->ucum, "/min") && text_is(rpm->text, ""));
    CHECK(rpm->number == 1726.0 && label->step == 0.25 && rpm->frame == -1 && !rpm->unsure);
    CHECK(rpm->next != NULL && rpm->next->number == 83.0 && rpm->next->next == NULL);
    CHECK(telltale_stream_next(stream, &event) == TELLTALE_END && event == NULL);
    CHECK(telltale_stream_next(stream, &event) == TELLTALE_END && event == NULL);
    CHECK(rpm->number == 1726.0); /* lives until the next call that brings something */
    /* The label stays, and is the same for all values of the field. */
    CHECK(label->stays);
    CHECK(telltale_stream_message(stream, 3, 0x7E9, 0, answer, 4, 5500, 78) == TELLTALE_OK);
    CHECK(telltale_stream_next(stream, &event) == TELLTALE_OK);
    CHECK(event->message->values->label == label && text_is(label->key, "RPM"));

    /* Other traffic is passed over; what was kept is forgotten with the next call. */
    CHECK(telltale_stream_can(stream, 3, 0x123, 0, frame, 8, 6000, 78) == TELLTALE_OK);
    CHECK(telltale_stream_next(stream, &event) == TELLTALE_END);

    /* A refusal: 7F 01 12, sub-function not supported (ISO 14229-1, annex A). */
    const unsigned char refusal[] = {0x7F, 0x01, 0x12};
    CHECK(telltale_stream_message(stream, 0, 0x18DAF110, TELLTALE_EXTENDED, refusal, 3,
                                  TELLTALE_NO_TIME, 0) == TELLTALE_OK);
    CHECK(telltale_stream_next(stream, &event) == TELLTALE_OK);
    CHECK(event->message->kind == TELLTALE_NEGATIVE && event->message->negative_code == 0x12);
    CHECK(event->message->extended && event->message->negative_text.size > 0);
    CHECK(event->time == TELLTALE_NO_TIME);

    /* Codes: 0143 is P0143 (SAE J2012). */
    const unsigned char codes[] = {0x43, 0x01, 0x01, 0x43};
    CHECK(telltale_stream_message(stream, 0, 0, TELLTALE_NO_ID, codes, 4, 0, 0) == TELLTALE_OK);
    CHECK(telltale_stream_next(stream, &event) == TELLTALE_OK && !event->message->has_id);
    const telltale_dtc* dtc = event->message->dtcs;
    CHECK(dtc != NULL && dtc->next == NULL && event->message->values == NULL);
    CHECK(text_is(dtc->text, "P0143") && dtc->raw == 0x0143);
    CHECK(dtc->list == TELLTALE_STORED && dtc->failure_type == -1 && dtc->status == -1 &&
          dtc->meaning.size > 0 && !dtc->by_maker);
    /* A PID behind what can be read of the message: the value before it, and a problem. */
    const unsigned char half[] = {0x41, 0x0C, 0x1A, 0xF8, 0x05};
    CHECK(telltale_stream_message(stream, 0, 0x7E8, 0, half, sizeof half, 0, 99) == TELLTALE_OK);
    CHECK(telltale_stream_next(stream, &event) == TELLTALE_OK);
    CHECK(event->kind == TELLTALE_EVENT_MESSAGE && event->message->values->number == 1726.0);
    CHECK(event->message->values->next == NULL && event->problem == NULL);
    CHECK(text_is(event->message->problems->word, "message-cut") &&
          event->message->problems->place == 99 && event->message->problems->next == NULL);
    telltale_stream_free(stream);
}

/* A VIN in three frames (ISO 15765-2), with one of them lost the second time. */
static void several_frames(void) {
    static const unsigned char frames[3][8] = {
        {0x10, 0x14, 0x49, 0x02, 0x01, '1', 'T', 'T'},
        {0x21, 'Z', 'Z', '0', '0', '0', '0', '0'},
        {0x22, '0', '0', '0', '0', '0', '0', '1'},
    };
    telltale_stream* stream = new_stream(NULL);
    struct heard heard = {0};
    heard.stream = stream;
    CHECK(telltale_stream_listen(stream, hear, &heard) == TELLTALE_OK);
    for (unsigned i = 0; i < 3; ++i)
        CHECK(telltale_stream_can(stream, 0, 0x7E8, 0, frames[i], 8, (int64_t)i * 1000000, i) ==
              TELLTALE_OK);
    CHECK(heard.messages == 1 && heard.values == 1 && heard.problems == 0);
    for (unsigned i = 0; i < 3; i += 2)
        CHECK(telltale_stream_can(stream, 0, 0x7E8, 0, frames[i], 8, (int64_t)i * 1000000, i) ==
              TELLTALE_OK);
    CHECK(heard.messages == 1 && heard.values == 1 && heard.problems == 1);
    CHECK(telltale_stream_can(stream, 0, 0x7E8, 0, frames[0], 8, 9000000, 9) == TELLTALE_OK);
    heard.stream = NULL;
    CHECK(telltale_stream_finish(stream) == TELLTALE_OK && heard.problems == 2);

    /* From listening back to asking. */
    CHECK(telltale_stream_listen(stream, NULL, NULL) == TELLTALE_OK);
    const telltale_event* event = NULL;
    CHECK(telltale_stream_can(stream, 0, 0x7E8, 0, frames[2], 8, 9000000, 4242) == TELLTALE_OK);
    CHECK(telltale_stream_next(stream, &event) == TELLTALE_OK && event->problem != NULL);
    CHECK(text_is(event->problem->word, "consecutive-unexpected") && event->problem->place == 4242);
    char sentence[200];
    const size_t whole = telltale_describe(event->problem, sentence, sizeof sentence);
    CHECK(whole > 10 && strlen(sentence) == whole);
    char cut[6];
    CHECK(telltale_describe(event->problem, cut, sizeof cut) == whole);
    CHECK(strlen(cut) == 5 && memcmp(cut, sentence, 5) == 0);
    CHECK(telltale_describe(event->problem, NULL, 0) == whole);
    CHECK(telltale_describe(event->problem, NULL, 5) == 0);
    CHECK(telltale_describe(NULL, cut, sizeof cut) == 0);
    telltale_problem nonsense = *event->problem;
    nonsense.code = -7;
    CHECK(telltale_describe(&nonsense, cut, 1) > 0 && cut[0] == '\0');
    nonsense.code = INT32_MAX;
    CHECK(telltale_describe(&nonsense, cut, sizeof cut) > 0);
    telltale_stream_free(stream);
}

static void older_lines(void) {
    /* The sum of the bytes (ISO 9141-2) and CRC-8 of SAE J1850. */
    static const unsigned char kline[] = {0x48, 0x6B, 0x10, 0x41, 0x0C, 0x1A, 0xF8, 0x22};
    static const unsigned char j1850[] = {0x48, 0x6B, 0x10, 0x41, 0x0C, 0x1A, 0xF8, 0xB2};
    telltale_stream* stream = new_stream(NULL);
    struct heard heard = {0};
    CHECK(telltale_stream_listen(stream, hear, &heard) == TELLTALE_OK);
    CHECK(telltale_stream_kline(stream, 0, kline, sizeof kline, 0, 0) == TELLTALE_OK);
    CHECK(telltale_stream_j1850(stream, 1, j1850, sizeof j1850, 0, 0) == TELLTALE_OK);
    CHECK(telltale_stream_kline(stream, 0, j1850, sizeof j1850, 1, 0) == TELLTALE_OK);
    CHECK(telltale_stream_finish(stream) == TELLTALE_OK);
    CHECK(heard.values == 2 && heard.rpm == 1726.0 && heard.problems == 1);
    unsigned char endless[261] = {0};
    CHECK(telltale_stream_kline(stream, 0, endless, sizeof endless, 0, 0) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_j1850(stream, 0, endless, SIZE_MAX, 0, 0) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_kline(stream, 0, NULL, 4, 0, 0) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_kline(stream, 0, NULL, 0, 0, 0) == TELLTALE_OK);
    telltale_stream_free(stream);
}

static void options(void) {
    telltale_options options = TELLTALE_OPTIONS_INIT;
    const telltale_identifiers more[] = {{0x6F1, 0x7FF, 0, 0},
                                         {0x18EE0000, 0x1FFF0000, TELLTALE_EXTENDED, 0}};
    options.units = TELLTALE_US;
    options.ids = more;
    options.id_count = 2;
    telltale_stream* stream = new_stream(&options);
    const unsigned char frame[] = {0x03, 0x41, 0x05, 0x7B};
    const telltale_event* event = NULL;
    CHECK(telltale_stream_can(stream, 0, 0x6F1, 0, frame, 4, 0, 0) == TELLTALE_OK);
    CHECK(telltale_stream_next(stream, &event) == TELLTALE_OK && event->message->values != NULL);
    /* 83 degrees Celsius are 181.4 degrees Fahrenheit. */
    const telltale_value* value = event->message->values;
    CHECK(value->number > 181.3999 && value->number < 181.4001);
    CHECK(text_is(value->label->ucum, "[degF]") && value->raw == 0x7B);
    CHECK(telltale_stream_can(stream, 0, 0x18EE1234, TELLTALE_EXTENDED, frame, 4, 0, 0) ==
          TELLTALE_OK);
    CHECK(telltale_stream_next(stream, &event) == TELLTALE_OK);
    CHECK(telltale_stream_can(stream, 0, 0x18EF1234, TELLTALE_EXTENDED, frame, 4, 0, 0) ==
          TELLTALE_OK);
    CHECK(telltale_stream_next(stream, &event) == TELLTALE_END);
    telltale_stream_free(stream);

    /* Which messages are decoded. */
    telltale_options few = TELLTALE_OPTIONS_INIT;
    unsigned service = 7;
    few.chooser = choose;
    few.chooser_user = &service;
    stream = new_stream(&few);
    struct heard heard = {0};
    CHECK(telltale_stream_listen(stream, hear, &heard) == TELLTALE_OK);
    CHECK(telltale_stream_message(stream, 0, 0x7E8, 0, answer, sizeof answer, 0, 0) == TELLTALE_OK);
    CHECK(heard.messages == 1 && heard.values == 0);
    service = 1;
    CHECK(telltale_stream_message(stream, 0, 0x7E8, 0, answer, sizeof answer, 0, 0) == TELLTALE_OK);
    CHECK(heard.messages == 2 && heard.values == 2);
    telltale_stream_free(stream);

    telltale_error error;
    const size_t bad_sizes[] = {0, 7, 4097, SIZE_MAX};
    for (size_t i = 0; i < sizeof bad_sizes / sizeof *bad_sizes; ++i) {
        telltale_options wrong = TELLTALE_OPTIONS_INIT;
        wrong.size = bad_sizes[i];
        stream = (telltale_stream*)&wrong;
        CHECK(telltale_stream_new(&wrong, &stream, &error) == TELLTALE_BAD_ARGUMENT);
        CHECK(stream == NULL && error.status == TELLTALE_BAD_ARGUMENT);
        CHECK(strstr(error.message, "TELLTALE_OPTIONS_INIT") != NULL);
    }
    /* An older program knows less of it; a newer one more, which it must not have set. */
    struct {
        telltale_options known;
        uint64_t unknown;
    } newer = {TELLTALE_OPTIONS_INIT, 0};
    newer.known.size = sizeof newer;
    telltale_stream_free(new_stream(&newer.known));
    newer.unknown = 1;
    CHECK(telltale_stream_new(&newer.known, &stream, NULL) == TELLTALE_BAD_ARGUMENT);
    options.size = offsetof(telltale_options, ids);
    options.id_count = SIZE_MAX; /* not looked at */
    telltale_stream_free(new_stream(&options));

    telltale_options wrong = TELLTALE_OPTIONS_INIT;
    wrong.units = 2;
    CHECK(telltale_stream_new(&wrong, &stream, &error) == TELLTALE_BAD_ARGUMENT);
    wrong.units = 0;
    wrong.addressing = -1;
    CHECK(telltale_stream_new(&wrong, &stream, &error) == TELLTALE_BAD_ARGUMENT);
    wrong.addressing = 0;
    wrong.id_count = 1;
    CHECK(telltale_stream_new(&wrong, &stream, &error) == TELLTALE_BAD_ARGUMENT);
    wrong.ids = more;
    wrong.id_count = SIZE_MAX;
    CHECK(telltale_stream_new(&wrong, &stream, &error) == TELLTALE_TOO_LONG);
    const telltale_identifiers high = {0x800, 0x7FF, 0, 0};
    wrong.ids = &high;
    wrong.id_count = 1;
    CHECK(telltale_stream_new(&wrong, &stream, &error) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_new(NULL, NULL, &error) == TELLTALE_BAD_ARGUMENT);
}

static void wrong_arguments(void) {
    telltale_stream* stream = new_stream(NULL);
    const unsigned char bytes[65] = {0};
    const telltale_event* event = NULL;
    CHECK(telltale_stream_can(stream, 0, 0x800, 0, bytes, 8, 0, 0) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_can(stream, 0, 0x20000000, TELLTALE_EXTENDED, bytes, 8, 0, 0) ==
          TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_can(stream, 0, 0x7E8, 0, bytes, 9, 0, 0) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_can(stream, 0, 0x7E8, TELLTALE_FD, bytes, 65, 0, 0) ==
          TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_can(stream, 0, 0x7E8, 0, bytes, SIZE_MAX, 0, 0) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_can(stream, 0, 0x7E8, 0, NULL, 1, 0, 0) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_can(stream, 0, 0x7E8, 0, NULL, 0, 0, 0) == TELLTALE_OK);
    CHECK(telltale_stream_can(stream, 0, 0x7E8, TELLTALE_FD, bytes, 64, 0, 0) == TELLTALE_OK);
    CHECK(telltale_stream_can(stream, 0, 0x7E8, TELLTALE_REMOTE, bytes, 8, 0, 0) == TELLTALE_OK);
    CHECK(telltale_stream_next(stream, &event) == TELLTALE_END);
    CHECK(telltale_stream_can(NULL, 0, 0x7E8, 0, bytes, 8, 0, 0) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_message(stream, 0, 0x7E8, 0, bytes, SIZE_MAX, 0, 0) == TELLTALE_TOO_LONG);
    CHECK(telltale_stream_message(stream, 0, 0x7E8, 0, NULL, 3, 0, 0) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_message(stream, 0, 0xFFF, 0, bytes, 3, 0, 0) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_message(NULL, 0, 0, TELLTALE_NO_ID, bytes, 3, 0, 0) ==
          TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_finish(NULL) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_next(NULL, &event) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_next(stream, NULL) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_listen(NULL, hear, NULL) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_attach(NULL, NULL) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_stream_attach(stream, NULL) == TELLTALE_OK);
    telltale_stream_free(stream);
    telltale_stream_free(NULL);
    telltale_dump_free(NULL);
    telltale_vehicle_free(NULL);
    telltale_catalogue_free(NULL);
    telltale_run_free(NULL);
    telltale_contrast_free(NULL);

    telltale_dump* dump = NULL;
    telltale_error error;
    CHECK(telltale_dump_open(NULL, NULL, &dump, &error) == TELLTALE_BAD_ARGUMENT && dump == NULL);
    CHECK(telltale_dump_open("/nowhere/at/all", NULL, &dump, &error) == TELLTALE_CANNOT_OPEN);
    CHECK(error.status == TELLTALE_CANNOT_OPEN && error.message[0] != '\0');
    CHECK(telltale_dump_open("/nowhere/at/all", NULL, &dump, NULL) == TELLTALE_CANNOT_OPEN);
    CHECK(telltale_dump_open("/", NULL, &dump, &error) == TELLTALE_IS_DIRECTORY);
    CHECK(telltale_dump_open("/", NULL, NULL, &error) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_dump_open_memory(NULL, 7, NULL, &dump, &error) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_dump_open_memory(NULL, 0, NULL, &dump, &error) == TELLTALE_EMPTY_INPUT);
    CHECK(telltale_dump_open_memory(bytes, sizeof bytes, NULL, &dump, &error) ==
          TELLTALE_UNKNOWN_FORMAT);
    CHECK(telltale_dump_next(NULL, &event) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_dump_read(NULL, hear, NULL) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_dump_about(NULL) == NULL);
    CHECK(telltale_dump_attach(NULL, NULL) == TELLTALE_BAD_ARGUMENT);
}

struct stopper {
    unsigned values, stop_at;
};

static unsigned values_of(const telltale_event* event) {
    unsigned values = 0;
    if (event->message != NULL)
        for (const telltale_value* value = event->message->values; value != NULL;
             value = value->next)
            ++values;
    return values;
}

static int stop(void* user, const telltale_event* event) {
    struct stopper* stopper = user;
    stopper->values += values_of(event);
    return stopper->values >= stopper->stop_at ? TELLTALE_STOP : TELLTALE_GO_ON;
}

static void dumps(const char* path) {
    size_t size = 0;
    unsigned char* bytes = read_file(path, &size);
    /* Engine speeds, found in the bytes of the file: SocketCAN packets of 7E8 or 7E9, eight bytes
       long, that begin with 06 41 0C. */
    unsigned speeds = 0;
    for (size_t i = 0; i + 11 <= size; ++i)
        if (bytes[i] == 0 && bytes[i + 1] == 0 && bytes[i + 2] == 0x07 &&
            (bytes[i + 3] == 0xE8 || bytes[i + 3] == 0xE9) && bytes[i + 4] == 8 &&
            bytes[i + 8] == 0x06 && bytes[i + 9] == 0x41 && bytes[i + 10] == 0x0C)
            ++speeds;
    CHECK(speeds > 100);

    telltale_dump* dump = NULL;
    telltale_error error;
    CHECK(telltale_dump_open(path, NULL, &dump, &error) == TELLTALE_OK);
    struct heard asked = {0};
    unsigned got = 0;
    int status;
    const telltale_event* event = NULL;
    uint64_t place = 0;
    while ((status = telltale_dump_next(dump, &event)) == TELLTALE_OK) {
        hear(&asked, event);
        if (event->message != NULL && event->message->service == 1)
            for (const telltale_value* v = event->message->values; v != NULL; v = v->next)
                got += v->id == 0x0C && v->kind == TELLTALE_NUMBER;
        if (event->problem != NULL && place == 0)
            place = event->problem->place;
    }
    CHECK(status == TELLTALE_END && event == NULL);
    CHECK(telltale_dump_next(dump, &event) == TELLTALE_END);
    CHECK(got == speeds);
    CHECK(asked.problems > 0 && place > 0 && place < size);
    const telltale_dump_facts* facts = telltale_dump_about(dump);
    CHECK(text_is(facts->format, "pcapng") && facts->size == size && facts->bytes == size);
    CHECK(facts->frames > asked.messages && facts->problems == 0);
    const uint64_t frames = facts->frames;
    telltale_dump_free(dump);

    /* The same by being told, from memory, stopped and gone on with, and after a few were asked. */
    CHECK(telltale_dump_open_memory(bytes, size, NULL, &dump, &error) == TELLTALE_OK);
    struct heard told = {0};
    CHECK(telltale_dump_read(dump, hear, &told) == TELLTALE_END);
    CHECK(told.messages == asked.messages && told.values == asked.values &&
          told.dtcs == asked.dtcs && told.problems == asked.problems &&
          told.comments == asked.comments && told.rpm == asked.rpm);
    CHECK(telltale_dump_read(dump, hear, &told) == TELLTALE_END);
    telltale_dump_free(dump);
    CHECK(telltale_dump_open_memory(bytes, size, NULL, &dump, &error) == TELLTALE_OK);
    struct stopper stopper = {0, 500};
    for (unsigned i = 0; i < 3; ++i) {
        CHECK(telltale_dump_next(dump, &event) == TELLTALE_OK);
        stopper.values += values_of(event);
    }
    CHECK(telltale_dump_read(dump, stop, &stopper) == TELLTALE_OK);
    CHECK(stopper.values >= 500 && stopper.values < 600);
    stopper.stop_at = UINT_MAX;
    CHECK(telltale_dump_read(dump, stop, &stopper) == TELLTALE_END);
    CHECK(stopper.values == asked.values);
    CHECK(telltale_dump_read(dump, NULL, NULL) == TELLTALE_BAD_ARGUMENT);
    telltale_dump_free(dump);

    /* And with the frames themselves. */
    telltale_options options = TELLTALE_OPTIONS_INIT;
    options.frames = 1;
    CHECK(telltale_dump_open_memory(bytes, size, &options, &dump, &error) == TELLTALE_OK);
    struct heard framed = {0};
    CHECK(telltale_dump_read(dump, hear, &framed) == TELLTALE_END);
    CHECK(framed.frames == frames && framed.values == asked.values);
    telltale_dump_free(dump);

    /* Cut in the midst: told, not passed over in silence. */
    CHECK(telltale_dump_open_memory(bytes, size - 3, NULL, &dump, &error) == TELLTALE_OK);
    struct heard cut = {0};
    CHECK(telltale_dump_read(dump, hear, &cut) == TELLTALE_END);
    CHECK(cut.problems > asked.problems);
    telltale_dump_free(dump);
    free(bytes);
}

static void vehicles(const char* path) {
    telltale_vehicle* vehicle = NULL;
    telltale_error error;
    CHECK(telltale_vehicle_load(path, NULL, &vehicle, &error) == TELLTALE_OK);
    const char* json = NULL;
    const char* page = NULL;
    size_t json_size = 0, page_size = 0;
    CHECK(telltale_vehicle_json(vehicle, TELLTALE_SI, &json, &json_size) == TELLTALE_OK);
    CHECK(telltale_vehicle_text(vehicle, TELLTALE_US, &page, &page_size) == TELLTALE_OK);
    CHECK(strlen(json) == json_size && json[0] == '{' && json[json_size - 1] == '\n');
    CHECK(strlen(page) == page_size && page_size > 1000);

    const telltale_vehicle_facts* facts = NULL;
    CHECK(telltale_vehicle_look(vehicle, &facts) == TELLTALE_OK);
    CHECK(facts->vin.size == 17 && strstr(json, facts->vin.data) != NULL);
    CHECK(facts->vin_check.size > 0 && facts->ecus == 2 && facts->messages > 1000);
    CHECK(facts->start < facts->end && facts->requests > 0 && facts->not_kept == 0);
    unsigned found = 0;
    for (size_t i = 0; i < facts->ecus; ++i) {
        const telltale_ecu* ecu = telltale_vehicle_ecu(vehicle, i);
        CHECK(ecu != NULL && ecu->signals > 0 && ecu->id.size == 3);
        for (size_t k = 0; k < ecu->codes; ++k) {
            const telltale_code* code = telltale_vehicle_code(vehicle, i, k);
            CHECK(code != NULL && strstr(json, code->text.data) != NULL);
        }
        CHECK(telltale_vehicle_code(vehicle, i, ecu->codes) == NULL);
        CHECK((ecu->stored < 0 ? 0 : ecu->stored) + (ecu->pending < 0 ? 0 : ecu->pending) +
                  (ecu->permanent < 0 ? 0 : ecu->permanent) ==
              (int)ecu->codes);
        int open = 0;
        for (size_t k = 0; k < ecu->monitors; ++k)
            open += telltale_vehicle_monitor(vehicle, i, k)->complete ? 0 : 1;
        CHECK(ecu->incomplete == (ecu->monitors == 0 ? ecu->incomplete : open));
        CHECK(telltale_vehicle_monitor(vehicle, i, ecu->monitors) == NULL);
        for (size_t k = 0; k < ecu->signals; ++k) {
            const telltale_signal* signal = telltale_vehicle_signal(vehicle, i, k);
            CHECK(signal != NULL && signal->count > 0);
            if (!signal->is_number)
                continue;
            CHECK(signal->min <= signal->mean + 1e-9 && signal->mean <= signal->max + 1e-9);
            if (text_is(signal->key, "RPM"))
                ++found;
        }
        CHECK(telltale_vehicle_signal(vehicle, i, SIZE_MAX) == NULL);
    }
    CHECK(found > 0);
    CHECK(telltale_vehicle_ecu(vehicle, facts->ecus) == NULL);
    CHECK(telltale_vehicle_ecu(NULL, 0) == NULL);
    CHECK(telltale_vehicle_json(vehicle, 7, &json, &json_size) == TELLTALE_BAD_ARGUMENT);
    CHECK(json == NULL && json_size == 0);
    CHECK(telltale_vehicle_json(NULL, 0, &json, &json_size) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_vehicle_json(vehicle, 0, NULL, &json_size) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_vehicle_text(vehicle, 0, &json, NULL) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_vehicle_look(vehicle, NULL) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_vehicle_new(NULL) == TELLTALE_BAD_ARGUMENT);
    telltale_vehicle* other = vehicle;
    CHECK(telltale_vehicle_load("/nowhere/at/all", NULL, &other, &error) == TELLTALE_CANNOT_OPEN);
    CHECK(other == NULL);

    /* Attached, and freed before what it is attached to; and the reverse. */
    for (int first = 0; first < 2; ++first) {
        telltale_vehicle* heard = NULL;
        telltale_dump* dump = NULL;
        const telltale_event* event = NULL;
        CHECK(telltale_vehicle_new(&heard) == TELLTALE_OK);
        CHECK(telltale_dump_open(path, NULL, &dump, &error) == TELLTALE_OK);
        CHECK(telltale_dump_attach(dump, heard) == TELLTALE_OK);
        for (int i = 0; i < 1000; ++i)
            CHECK(telltale_dump_next(dump, &event) == TELLTALE_OK);
        CHECK(telltale_vehicle_look(heard, &facts) == TELLTALE_OK && facts->messages > 0);
        if (first == 0) {
            telltale_vehicle_free(heard);
            CHECK(telltale_dump_next(dump, &event) == TELLTALE_OK);
            telltale_dump_free(dump);
        } else {
            telltale_dump_free(dump);
            CHECK(telltale_vehicle_json(heard, 0, &json, &json_size) == TELLTALE_OK);
            telltale_vehicle_free(heard);
        }
    }
    telltale_vehicle_free(vehicle);

    /* On a stream, and a second look. */
    telltale_stream* stream = new_stream(NULL);
    CHECK(telltale_vehicle_new(&vehicle) == TELLTALE_OK);
    CHECK(telltale_vehicle_look(vehicle, &facts) == TELLTALE_OK);
    CHECK(facts->ecus == 0 && facts->vin.size == 0 && facts->start == TELLTALE_NO_TIME);
    CHECK(telltale_stream_attach(stream, vehicle) == TELLTALE_OK);
    CHECK(telltale_stream_message(stream, 0, 0x7E8, 0, answer, sizeof answer, 5, 0) == TELLTALE_OK);
    CHECK(telltale_stream_finish(stream) == TELLTALE_OK);
    CHECK(telltale_vehicle_look(vehicle, &facts) == TELLTALE_OK);
    CHECK(facts->ecus == 1 && facts->messages == 1 && facts->start == 5);
    CHECK(telltale_vehicle_signal(vehicle, 0, 1)->last == 1726.0);
    telltale_stream_free(stream);
    telltale_vehicle_free(vehicle);
}

static void catalogue(void) {
    telltale_catalogue* all = NULL;
    CHECK(telltale_catalogue_new(NULL, &all) == TELLTALE_OK);
    size_t rows = 0;
    for (int table = TELLTALE_TABLE_PIDS; table <= TELLTALE_TABLE_SERVICES; ++table) {
        const size_t count = telltale_catalogue_rows(all, table);
        CHECK(count > 0);
        rows += count;
        for (size_t i = 0; i < count; ++i) {
            const telltale_row* row = telltale_catalogue_row(all, table, i);
            CHECK(row->name.size > 0 && row->evidence.size > 0);
            CHECK(telltale_catalogue_find(all, table, row->id) == i);
            for (size_t k = 0; k < row->fields; ++k) {
                const telltale_field* field = telltale_catalogue_field(all, table, i, k);
                CHECK(field->name.size > 0 && field->denominator > 0);
                for (size_t c = 0; c < field->choices; ++c)
                    CHECK(telltale_catalogue_choice(all, table, i, k, c)->text.size > 0);
                CHECK(telltale_catalogue_choice(all, table, i, k, field->choices) == NULL);
            }
            CHECK(telltale_catalogue_field(all, table, i, row->fields) == NULL);
        }
        CHECK(telltale_catalogue_row(all, table, count) == NULL);
    }
    CHECK(rows > 300);
    /* Engine speed: two bytes, a quarter of a revolution per minute (ISO 15031-5 annex B). */
    const size_t at = telltale_catalogue_find(all, TELLTALE_TABLE_PIDS, 0x0C);
    const telltale_field* rpm = telltale_catalogue_field(all, TELLTALE_TABLE_PIDS, at, 0);
    CHECK(rpm != NULL && rpm->kind == TELLTALE_FIELD_NUMBER && rpm->bytes == 2 &&
          rpm->first_byte == 0 && rpm->numerator == 1 && rpm->denominator == 4 &&
          rpm->offset == 0 && rpm->support_byte == -1 && text_is(rpm->ucum, "/min"));
    CHECK(telltale_catalogue_find(all, TELLTALE_TABLE_PIDS, 0xFFFF) == SIZE_MAX);
    CHECK(telltale_catalogue_rows(all, -1) == 0 && telltale_catalogue_rows(all, 8) == 0);
    CHECK(telltale_catalogue_rows(NULL, 0) == 0 && telltale_catalogue_row(NULL, 0, 0) == NULL);
    CHECK(telltale_catalogue_find(NULL, 0, 0) == SIZE_MAX);
    CHECK(telltale_catalogue_field(all, 99, 0, 0) == NULL);
    CHECK(telltale_catalogue_choice(NULL, 0, 0, 0, 0) == NULL);
    CHECK(telltale_catalogue_new(NULL, NULL) == TELLTALE_BAD_ARGUMENT);
    telltale_catalogue_free(all);

    char meaning[200];
    const size_t whole = telltale_code_meaning(0x0300, meaning, sizeof meaning);
    CHECK(whole > 5 && strlen(meaning) == whole && strstr(meaning, "isfire") != NULL);
    char cut[4];
    CHECK(telltale_code_meaning(0x0300, cut, sizeof cut) == whole && strlen(cut) == 3);
    CHECK(telltale_code_meaning(0x0300, NULL, 0) == whole);
    CHECK(telltale_code_meaning(0x0300, NULL, 9) == 0);
    CHECK(telltale_code_meaning(0x3FFF, meaning, sizeof meaning) == 0 && meaning[0] == '\0');
}

static void contrasts(const char* good_path, const char* bad_path) {
    telltale_run* good = NULL;
    telltale_run* bad = NULL;
    telltale_error error;
    size_t size = 0;
    unsigned char* bytes = read_file(bad_path, &size);
    CHECK(telltale_run_load(good_path, NULL, &good, &error) == TELLTALE_OK);
    CHECK(telltale_run_load_memory(bytes, size, bad_path, NULL, &bad, &error) == TELLTALE_OK);
    memset(bytes, 0, size); /* not needed any more */
    free(bytes);
    telltale_contrast* contrast = NULL;
    const telltale_run* const runs[] = {bad};
    telltale_contrast_options options = TELLTALE_CONTRAST_OPTIONS_INIT;
    options.only = "MAP,RPM";
    CHECK(telltale_contrast_runs(good, runs, 1, &options, &contrast, &error) == TELLTALE_OK);
    const size_t suspects = telltale_contrast_suspects(contrast);
    CHECK(suspects > 0);
    const telltale_suspect* first = telltale_contrast_suspect(contrast, 0);
    /* What the scenario of the demonstration did to it. */
    CHECK(text_is(first->key, "MAP") && text_is(first->ucum, "kPa") && first->score > 1);
    CHECK(first->sentence.size > 0 && first->proof.size > 0 && first->run == 0);
    CHECK(first->start <= first->end && first->after == -1 && first->episodes > 0);
    CHECK(telltale_contrast_suspect(contrast, suspects) == NULL);
    const char* json = NULL;
    size_t json_size = 0;
    CHECK(telltale_contrast_json(contrast, TELLTALE_US, &json, &json_size) == TELLTALE_OK);
    CHECK(strlen(json) == json_size && strstr(json, "in_i'Hg") != NULL);
    CHECK(telltale_contrast_json(contrast, -1, &json, &json_size) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_contrast_json(NULL, 0, &json, &json_size) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_contrast_suspects(NULL) == 0 && telltale_contrast_suspect(NULL, 0) == NULL);
    CHECK(strlen(telltale_contrast_caution()) > 50);

    telltale_contrast* none = contrast;
    const double marks[] = {1e300, -1e10, strtod("nan", NULL), strtod("-inf", NULL)};
    for (size_t i = 0; i < 4; ++i) {
        telltale_contrast_options far = TELLTALE_CONTRAST_OPTIONS_INIT;
        far.has_mark = 1;
        far.mark = marks[i];
        CHECK(telltale_contrast_runs(good, runs, 1, &far, &none, &error) == TELLTALE_BAD_ARGUMENT);
        CHECK(none == NULL && strstr(error.message, "mark") != NULL);
    }
    options.only = "0C,,";
    const int status = telltale_contrast_runs(good, runs, 1, &options, &none, &error);
    CHECK(status == TELLTALE_BAD_ARGUMENT && none == NULL && error.message[0] != '\0');
    CHECK(telltale_contrast_runs(NULL, runs, 1, NULL, &none, &error) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_contrast_runs(good, NULL, 1, NULL, &none, &error) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_contrast_runs(good, runs, SIZE_MAX, NULL, &none, &error) == TELLTALE_TOO_LONG);
    const telltale_run* const missing[] = {NULL};
    CHECK(telltale_contrast_runs(good, missing, 1, NULL, &none, &error) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_contrast_runs(good, runs, 1, NULL, NULL, &error) == TELLTALE_BAD_ARGUMENT);
    CHECK(telltale_run_load(NULL, NULL, &bad, &error) == TELLTALE_BAD_ARGUMENT && bad == NULL);
    bad = (telltale_run*)runs[0];
    telltale_run_free(bad);
    telltale_run_free(good);
    /* The contrast lives on. */
    CHECK(text_is(telltale_contrast_suspect(contrast, 0)->key, "MAP"));
    telltale_contrast_free(contrast);
}

/* Engine speed and two that go with it, as a dump of the lines of a bus; `from` to `to` seconds
 * the air flow comes 0.75 s late (invented). */
static telltale_run* drive_of(double phase, double from, double to) {
    enum { moments = 2400, widest = 40 };
    char* const text = malloc((size_t)moments * 3 * widest);
    size_t size = 0;
    double slow = 0;
    for (int i = 0; i < moments; ++i) {
        const double t = 0.25 * i;
        const double turns = 0.5 * sin(t / 3.1 + phase) + 0.3 * sin(t / 1.3 + 2 * phase) +
                             0.2 * sin(t / 11.7 + 3 * phase);
        slow = t >= from && t < to ? slow + 0.25 / (0.25 + 0.75) * (turns - slow) : turns;
        const int values[] = {(int)(4 * (2400 + 1200 * turns)), (int)(100 * (40 + 25 * slow)),
                              (int)(1000 * (14 + 0.4 * turns))};
        const int pids[] = {0x0C, 0x10, 0x42};
        for (int k = 0; k < 3; ++k) {
            const int length =
                snprintf(text + size, widest, "(%.6f) can0 7E8#0441%02X%04X\n", 1000 + t + 0.01 * k,
                         (unsigned)pids[k], (unsigned)values[k]);
            CHECK(length > 0 && length < widest);
            size += (size_t)length;
        }
    }
    telltale_run* run = NULL;
    telltale_error error;
    CHECK(telltale_run_load_memory((const uint8_t*)text, size, "invented.log", NULL, &run,
                                   &error) == TELLTALE_OK);
    free(text);
    return run;
}

static void says_how_late(void) {
    telltale_run* const good = drive_of(0.3, -1, -1);
    telltale_run* const bad = drive_of(1.9, 250, 350);
    const telltale_run* const runs[] = {bad};
    telltale_contrast* contrast = NULL;
    CHECK(telltale_contrast_runs(good, runs, 1, NULL, &contrast, NULL) == TELLTALE_OK);
    CHECK(telltale_contrast_suspects(contrast) > 0);
    const telltale_suspect* const first = telltale_contrast_suspect(contrast, 0);
    CHECK(text_is(first->key, "MAF") && text_is(first->kind, "lag"));
    CHECK(first->late_by > 0.5 && first->late_by < 1);
    telltale_contrast_free(contrast);
    telltale_run_free(good);
    telltale_run_free(bad);
}

int main(int argc, char** argv) {
    CHECK(argc == 4);
    versions();
    one_message();
    kept_events();
    several_frames();
    older_lines();
    options();
    wrong_arguments();
    dumps(argv[2]);
    vehicles(argv[2]);
    catalogue();
    contrasts(argv[1], argv[2]);
    says_how_late();
    own_parameters(argv[3]);
    puts("C interface: all as it should be");
    return 0;
}
