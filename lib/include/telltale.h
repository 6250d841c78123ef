/* SPDX-License-Identifier: Apache-2.0 */
#ifndef TELLTALE_H
#define TELLTALE_H

/** @file
 * telltale for C, and for every language that can call C: on-board diagnostics (SAE J1979,
 * ISO 15031-5) from bytes, CAN frames or recorded dumps into names, values and units; the report
 * of a vehicle; the catalogue; the contrast of two drives. Link with libtelltale-c (pkg-config:
 * telltale-c; CMake: telltale::c).
 *
 * Handles. `telltale_stream`, `telltale_dump`, `telltale_vehicle`, `telltale_catalogue`,
 * `telltale_run`, `telltale_contrast` and `telltale_extension` are opaque. What `_new`, `_open`,
 * `_read` or `_load` made, the `_free` of its kind ends; freeing a null pointer does nothing; after
 * it the handle, and every pointer that came from it, must not be used. Handles can be freed in any
 * order. When a call fails that should make one, it sets the pointer to null.
 *
 * Errors. A call that can fail returns a status: TELLTALE_OK, TELLTALE_END (nothing more), or a
 * negative number; `telltale_status_word` and `telltale_status_sentence` say what it means. Calls
 * that read files or settings also fill a `telltale_error` with the sentence for this very case;
 * it may be null. No C++ exception leaves a call. Null pointers where something is wanted are
 * TELLTALE_BAD_ARGUMENT. When memory runs out in the midst of a call (TELLTALE_NO_MEMORY), its
 * handle cannot be told any more (TELLTALE_UNUSABLE) but freed: it would tell of half a message.
 *
 * Damage in what is decoded is no error: it is an event (TELLTALE_EVENT_PROBLEM) with its place,
 * and reading goes on behind it. A value is told only from a message that is whole.
 *
 * Buffers. Every one that is passed in or out has its length beside it. Texts (`telltale_text`)
 * have a length and, not counted, a zero byte behind them; text that a vehicle or a file wrote may
 * hold anything, zero bytes and control characters too: escape it for where you put it. Texts of
 * the library are UTF-8. Bytes that you pass in are yours, and are read during the call only,
 * unless a function says otherwise. Structures that you are given are read-only and live as long
 * as their function says.
 *
 * Threads. A handle is used by one thread at a time (a vehicle counts as part of what it is
 * attached to); different handles by different threads at once. A catalogue or an extension, once
 * it is made, may be read by many threads. There is no global state, no signal, no locale, and
 * nothing is printed.
 *
 * Listeners (`telltale_listener`) are called in the thread of the call that makes them hear,
 * before it returns. From inside, the calling handle must not be freed, and calls on it give
 * TELLTALE_BUSY. They return by returning: no longjmp, no exception.
 *
 * What stays: see TELLTALE_ABI. Times are nanoseconds from wherever the source counts (the Unix
 * epoch in most dumps).
 */

#include <stddef.h>
#include <stdint.h>

#include "telltale/version.h"

#ifndef TELLTALE_C_API
#if defined(__GNUC__)
#define TELLTALE_C_API __attribute__((visibility("default")))
#else
#define TELLTALE_C_API
#endif
#endif

#ifdef __cplusplus
extern "C" {
#endif

/** The number of this binary interface, which is that of the shared library's name
 * (libtelltale-c.so.0). As long as it stays, a program that was built against an older header runs
 * with a newer library: no function goes away or changes, no number of an enumeration changes, and
 * structures grow at their end only. Therefore:
 * - never make an array of, copy, or take `sizeof` of a structure that the library gives; ask for
 *   the next one by its index;
 * - let a `switch` over an enumeration have a default: there may be new ones;
 * - set `telltale_options` and `telltale_contrast_options` up with their `_INIT`.
 * Structures that say "never grows" never do. */
#define TELLTALE_ABI 0

/** The version of the library that runs, like "0.1.0"; TELLTALE_VERSION_STRING is that of the
 * header. */
TELLTALE_C_API const char* telltale_version(void);
/** TELLTALE_ABI of the library that runs. */
TELLTALE_C_API int telltale_abi(void);

/* ---- status and errors ---------------------------------------------------------------------- */

enum {
    TELLTALE_OK = 0,
    TELLTALE_END = 1,             /**< nothing more */
    TELLTALE_BAD_ARGUMENT = -1,   /**< a null pointer, or a value outside what the call takes */
    TELLTALE_NO_MEMORY = -2,      /**< memory ran out */
    TELLTALE_CANNOT_OPEN = -3,    /**< the file cannot be opened */
    TELLTALE_CANNOT_READ = -4,    /**< reading failed */
    TELLTALE_IS_DIRECTORY = -5,   /**< a directory stands where a file is wanted */
    TELLTALE_EMPTY_INPUT = -6,    /**< nothing in the input */
    TELLTALE_UNKNOWN_FORMAT = -7, /**< the content is no dump format that is known */
    TELLTALE_TOO_LONG = -8,       /**< more than there is room for */
    TELLTALE_BUSY = -9,           /**< called from inside a listener of the same handle */
    TELLTALE_UNUSABLE = -10,      /**< an earlier call ran out of memory: free the handle */
    TELLTALE_FAILED = -11,        /**< something else; it should not happen */
    TELLTALE_FAULTY = -12         /**< a text that describes parameters has faults */
};

/** The stable word of a status, like "cannot-open". Never null. */
TELLTALE_C_API const char* telltale_status_word(int status);
/** What a status means, in one sentence. Never null. */
TELLTALE_C_API const char* telltale_status_sentence(int status);

/** What went wrong in one call. Yours; filled by the call, also on success. Never grows. */
typedef struct telltale_error {
    int32_t status;
    uint32_t reserved;
    uint64_t offset;   /**< bytes from the start of the input, where that helps */
    uint64_t line;     /**< from 1; 0: the input has no lines */
    char message[488]; /**< one sentence with a zero byte behind it, cut where it is longer; empty
                            on success */
} telltale_error;

/** Text with its length. Never grows. */
typedef struct telltale_text {
    const char* data; /**< never null; a zero byte, not counted, stands behind it */
    size_t size;
} telltale_text;

/* ---- what is told --------------------------------------------------------------------------- */

#define TELLTALE_NO_TIME INT64_MIN /**< the source gives no time */

enum { TELLTALE_SI = 0, TELLTALE_US = 1 }; /**< systems of units */

/** Kinds of messages. */
enum { TELLTALE_REQUEST = 0, TELLTALE_RESPONSE = 1, TELLTALE_NEGATIVE = 2 };

/** What a value is called and what it is measured in: the same for every value of a field. */
typedef struct telltale_label {
    telltale_text name; /**< whole name of the field */
    telltale_text key;  /**< SAE's short name (RPM, ECT), or empty */
    telltale_text unit; /**< as a person reads it ("kPa"), or empty */
    telltale_text ucum; /**< UCUM code of the unit; "1" for a pure number; empty for words */
    double step;        /**< size of one raw step in `unit`; 0: there is none */
    uint8_t decimals;   /**< that show one raw step without inventing digits */
    uint8_t stays;      /**< 1: it lives as long as the stream or dump that told it, and all values
                             of this field, scaled like this one, have the same pointer: what a program
                             keeps of a field can go by it. 0: it lives as long as its event */
} telltale_label;

/** Kinds of values. */
enum {
    TELLTALE_NUMBER = 0, /**< `number` in the unit of `label` */
    TELLTALE_WORDS = 1,  /**< `text`: a state, a list of identifiers, characters, hex */
    TELLTALE_TEST = 2    /**< a monitor test result: `number`, `low`, `high`, `passed` */
};

/** One value of a message. In a request: what is asked for, a kind TELLTALE_WORDS without text. */
typedef struct telltale_value {
    const struct telltale_value* next; /**< null: this is the last */
    const telltale_label* label;       /**< never null */
    int32_t kind;
    uint16_t id;     /**< PID, OBDMID, InfoType or data identifier */
    uint8_t index;   /**< the field's place in its row: service, id and index name a signal */
    uint8_t passed;  /**< of a test: 1: within its limits */
    uint8_t test;    /**< TID of a monitor test (service 06) */
    uint8_t has_raw; /**< 1: `raw` is the number that was sent */
    uint8_t unsure;  /**< 1: the catalogue's row is not certain; `note` says of what */
    int16_t frame;   /**< freeze frame or record number; -1: none */
    double number;
    int64_t raw;
    telltale_text text; /**< of TELLTALE_WORDS; untrusted */
    telltale_text note; /**< "unsure: ...", "scaled by PID 4F", or empty */
    double low;         /**< of a test: its limits */
    double high;
} telltale_value;

/** Lists that a trouble code can be in. */
enum {
    TELLTALE_STORED = 0,     /**< confirmed: service 03 */
    TELLTALE_PENDING = 1,    /**< service 07 */
    TELLTALE_PERMANENT = 2,  /**< service 0A */
    TELLTALE_OTHER_CODES = 3 /**< service 19 of OBDonUDS: see `report` and `status` */
};

/** A trouble code (SAE J2012, ISO 15031-6). */
typedef struct telltale_dtc {
    const struct telltale_dtc* next; /**< null: this is the last */
    int32_t list;                    /**< TELLTALE_STORED, ... */
    uint32_t raw;                    /**< two bytes, or three with a failure type */
    int16_t failure_type;            /**< third byte; -1: the code has two */
    int16_t report;                  /**< service 19: subfunction; else -1, as are the following */
    int16_t status;                  /**< status byte (ISO 14229-1, annex D) */
    int16_t severity;                /**< bits 7 to 5; bits 4 to 0 are the class */
    int16_t group;                   /**< readiness group */
    int16_t record;                  /**< snapshot or extended data record */
    int16_t counter;                 /**< fault detection counter */
    uint8_t by_maker;                /**< 1: the maker assigns it, not the standard */
    telltale_text text;              /**< "P0143", "P0143-1C" */
    telltale_text meaning;           /**< in plain words, or empty where it is not known */
} telltale_dtc;

/** Something wrong in the input. */
typedef struct telltale_problem {
    const struct telltale_problem* next; /**< of the same message; null: this is the last */
    int32_t code;       /**< for `telltale_describe`; only `word` stays the same over versions */
    telltale_text word; /**< stable, like "consecutive-lost" (list: CONTRACT.md) */
    int64_t time;       /**< ns or TELLTALE_NO_TIME */
    uint64_t place;     /**< as in telltale_message */
    uint64_t place_line;
    uint64_t a; /**< what the sentence is made with */
    uint64_t b;
} telltale_problem;

/** Writes the sentence of a problem, with a zero byte behind it, into `room` bytes at `buffer`
 * (null when `room` is 0), cut where it is longer. Returns its whole length. */
TELLTALE_C_API size_t telltale_describe(const telltale_problem* problem, char* buffer, size_t room);

/** A whole message and all that it says, or, with a problem, what there is of it. Lists go from one
 * to the `next`:
 *     for (const telltale_value* v = message->values; v != NULL; v = v->next) */
typedef struct telltale_message {
    const telltale_value* values;     /**< in the order of its bytes; null: it has none */
    const telltale_dtc* dtcs;         /**< trouble codes, in the order of its bytes; null: none */
    const telltale_problem* problems; /**< what is wrong inside it; null: nothing */
    int32_t kind;                     /**< TELLTALE_REQUEST, ... */
    uint8_t service;       /**< the service asked for: 01 for 01, 41 and 7F 01; 0: not known */
    uint8_t pre_can;       /**< 1: in the form of the lines before CAN */
    uint8_t negative_code; /**< of a negative response (ISO 14229-1, annex A) */
    uint8_t pending;       /**< 1: response pending (78), the answer is still to come */
    uint8_t has_id;        /**< 0: the source gives no identifier */
    uint8_t extended;      /**< 1: the identifier has 29 bits. On the older lines it is the one that
                                ISO 15765-4 gives the same addresses: 18DAF110 is ECU 10 */
    uint16_t line;         /**< interface, as the dump numbers them or as you did */
    uint32_t id;           /**< when `has_id` */
    uint32_t frames;       /**< how many frames carried it */
    int64_t time;          /**< ns, of its first frame; TELLTALE_NO_TIME */
    int64_t end_time;      /**< ns, of its last frame */
    uint64_t place;      /**< of its first frame: offset in the dump in bytes, or what you passed */
    uint64_t place_line; /**< line of the dump from 1; 0: it has none */
    const uint8_t* bytes; /**< from the service byte on; null when `size` is 0 */
    size_t size;
    telltale_text line_name;     /**< name of the interface in the dump, or empty */
    telltale_text negative_text; /**< what `negative_code` means, or empty */
} telltale_message;

/** Flags of frames and messages. */
enum {
    TELLTALE_EXTENDED = 1,    /**< identifier of 29 bits */
    TELLTALE_FD = 2,          /**< CAN FD */
    TELLTALE_REMOTE = 4,      /**< remote frame */
    TELLTALE_ERROR_FRAME = 8, /**< error frame as the operating system reports it */
    TELLTALE_NO_ID = 16       /**< a message without identifier */
};

/** What a dump's record is. */
enum { TELLTALE_CAN = 0, TELLTALE_KLINE = 1, TELLTALE_J1850 = 2, TELLTALE_WHOLE_MESSAGE = 3 };

/** One record of a dump as it stands there. */
typedef struct telltale_frame {
    int32_t kind;   /**< TELLTALE_CAN, ... */
    uint32_t flags; /**< TELLTALE_EXTENDED, ... */
    uint32_t id;    /**< of CAN */
    uint16_t line;
    int8_t direction; /**< 1 received, 2 sent, 0 not known */
    int64_t time;     /**< ns or TELLTALE_NO_TIME */
    uint64_t place;   /**< as in telltale_message */
    uint64_t place_line;
    const uint8_t* data; /**< of K-line and J1850 with header and checksum */
    size_t size;
    telltale_text line_name;
} telltale_frame;

/** Kinds of events. */
enum {
    TELLTALE_EVENT_MESSAGE = 0, /**< `message`, whole */
    TELLTALE_EVENT_PROBLEM = 1, /**< `problem` below the messages, or with one that cannot be read;
                                     `message` is what there is of it, without lists */
    TELLTALE_EVENT_FRAME = 2,   /**< `frame`: only where options ask for frames */
    TELLTALE_EVENT_COMMENT = 3  /**< `comment` of the dump at the moment `time` */
};

/** One thing that is told. Pointers that the kind does not name are null. */
typedef struct telltale_event {
    int32_t kind;
    const telltale_message* message;
    const telltale_problem* problem;
    const telltale_frame* frame;
    telltale_text comment; /**< untrusted */
    int64_t time;          /**< ns, or TELLTALE_NO_TIME */
} telltale_event;

/** What a listener may answer. */
enum {
    TELLTALE_GO_ON = 0,
    TELLTALE_STOP = 1 /**< to any event of `telltale_dump_read`: enough for now */
};

/** Is told of every event. `event` and all that it points to die when it returns. `user` is what
 * was passed beside it. */
typedef int (*telltale_listener)(void* user, const telltale_event* event);

/** Is asked, before a message is decoded, whether anybody wants what it says: 0: it is told without
 * values, codes and problems, which saves the time for them; what it says of its ECU is remembered
 * all the same. `message` has no lists yet and dies when this returns; what holds for listeners
 * holds here. */
typedef int (*telltale_chooser)(void* user, const telltale_message* message);

/* ---- parameters and codes of one's own ------------------------------------------------------ */

/** Parameters and codes beside the standard's, a maker's own, described in a text: services 21 and
 * 22, PIDs that the standard leaves free, and trouble codes. It goes by `telltale_options` to
 * whatever decodes. */
typedef struct telltale_extension telltale_extension;

/** A text with the name that faults call it by (a file's). Never grows. */
typedef struct telltale_named_text {
    const char* name; /**< with a zero byte behind it */
    const char* text;
    size_t size;
} telltale_named_text;

/** What is wrong with a line of a text. Lives until the listener returns. */
typedef struct telltale_fault {
    size_t text;          /**< index of the text */
    uint64_t line;        /**< from 1 */
    telltale_text detail; /**< what is wrong, in one sentence; untrusted */
} telltale_fault;
typedef void (*telltale_fault_listener)(void* user, const telltale_fault* fault);

/** Reads texts in the columns of `telltale catalogue --as csv` (CONTRACT.md, "Parameters of one's
 * own"), all or nothing; they are needed during the call only. At most 4 MiB together, 20,000 rows
 * and as many codes. `faults` (may be null) is told of each fault, of 200 at most; the error has
 * the first, with its line. TELLTALE_FAULTY, TELLTALE_TOO_LONG, TELLTALE_BAD_ARGUMENT,
 * TELLTALE_NO_MEMORY. */
TELLTALE_C_API int telltale_extension_read(const telltale_named_text* texts, size_t count,
                                           telltale_fault_listener faults, void* user,
                                           telltale_extension** extension, telltale_error* error);
/** The same from files, by their paths. Also TELLTALE_CANNOT_OPEN, TELLTALE_CANNOT_READ,
 * TELLTALE_IS_DIRECTORY. */
TELLTALE_C_API int telltale_extension_load(const char* const* paths, size_t count,
                                           telltale_fault_listener faults, void* user,
                                           telltale_extension** extension, telltale_error* error);
TELLTALE_C_API void telltale_extension_free(telltale_extension* extension);

/** What it says a code means (two-byte form: 0x1234 is P1234; `failure_type` is the byte behind it,
 * or -1), with a zero byte behind it, into `room` bytes at `buffer` (null when `room` is 0), cut
 * where it is longer. Returns its whole length; 0: it does not have the code. */
TELLTALE_C_API size_t telltale_extension_code(const telltale_extension* extension, uint16_t code,
                                              int failure_type, char* buffer, size_t room);

/* ---- options -------------------------------------------------------------------------------- */

/** More CAN identifiers that carry diagnostics: those that agree with `value` in all bits of
 * `mask`. Never grows. */
typedef struct telltale_identifiers {
    uint32_t value;
    uint32_t mask;
    uint32_t flags; /**< TELLTALE_EXTENDED or 0 */
    uint32_t reserved;
} telltale_identifiers;

/** Addressing formats of ISO 15765-2:2016, 10.3. */
enum {
    TELLTALE_NORMAL = 0,
    TELLTALE_NORMAL_FIXED = 1,
    TELLTALE_EXTENDED_ADDRESSING = 2,
    TELLTALE_MIXED = 3
};

/** How to decode. `telltale_options o = TELLTALE_OPTIONS_INIT;`, then what is to differ. A null
 * pointer in its place stands for TELLTALE_OPTIONS_INIT. */
typedef struct telltale_options {
    size_t size;        /**< sizeof(telltale_options) */
    int32_t units;      /**< TELLTALE_SI or TELLTALE_US: units of values */
    int32_t addressing; /**< TELLTALE_NORMAL, ... */
    int32_t frames;     /**< dumps: 1: TELLTALE_EVENT_FRAME for each record */
    int32_t reserved;
    /** Besides the identifiers of ISO 15765-4 (7DF, 7E0 to 7EF, 18DB33F1, 18DAF1xx, 18DAxxF1): up
     * to 29 of 29 bits, any number of 11 bits. */
    const telltale_identifiers* ids;
    size_t id_count;
    /** Parameters and codes beside the standard's; null: none. What is made with it keeps it: the
     * handle may be freed. */
    const telltale_extension* extension;
    /** Streams and dumps: which messages are decoded; null: all. */
    telltale_chooser chooser;
    void* chooser_user; /**< passed to `chooser` */
} telltale_options;
#define TELLTALE_OPTIONS_INIT                                                                      \
    { sizeof(telltale_options), 0, 0, 0, 0, NULL, 0, NULL, NULL, NULL }

/* ---- decoding one message ------------------------------------------------------------------- */

/** Who speaks. */
enum { TELLTALE_ANYBODY = 0, TELLTALE_TESTER = 1, TELLTALE_ECU = 2 };

/** The most bytes of a message. */
#define TELLTALE_MAX_MESSAGE ((size_t)65536)

/** Decodes one whole message that starts with its service byte (SAE J1979, SAE J1979-2), without a
 * handle, and without taking memory as long as what it says has room in 16 KiB (some 60 values; a
 * longer one takes it for the call). What the ECU said before is not known (PIDs 4F and 50, the
 * layout of its oxygen sensors): a stream knows it. Of `options` (may be null) units and extension
 * count; rows of the extension that are for one ECU only do not fit, since nobody says who speaks.
 * `role`: TELLTALE_ECU, ...; `size` from 0 to TELLTALE_MAX_MESSAGE (no bytes: a problem).
 * TELLTALE_BAD_ARGUMENT, TELLTALE_TOO_LONG. Threads: any at once. */
TELLTALE_C_API int telltale_decode(const uint8_t* bytes, size_t size, int role,
                                   const telltale_options* options, telltale_listener listener,
                                   void* user);

/* ---- streams: frames in, events out --------------------------------------------------------- */

/** Puts messages together (ISO 15765-2), decodes them and remembers what each ECU said before.
 * Memory is bounded whatever the frames claim; in steady state no call takes memory. What one
 * message says is held while it is told: up to 300 times its bytes by the standard's rows, more
 * where an extension has a field for each bit. */
typedef struct telltale_stream telltale_stream;

typedef struct telltale_vehicle telltale_vehicle;

/** Makes one. `options` may be null. TELLTALE_BAD_ARGUMENT, TELLTALE_NO_MEMORY. */
TELLTALE_C_API int telltale_stream_new(const telltale_options* options, telltale_stream** stream,
                                       telltale_error* error);
TELLTALE_C_API void telltale_stream_free(telltale_stream* stream);

/** Events go to `listener` from now on, inside the calls below. Null: they are kept for
 * `telltale_stream_next`, as it is in the beginning. */
TELLTALE_C_API int telltale_stream_listen(telltale_stream* stream, telltale_listener listener,
                                          void* user);

/** One CAN frame. `line` tells interfaces apart; `id` has 11 bits, or 29 with TELLTALE_EXTENDED in
 * `flags`; `size` is 0 to 8, or up to 64 with TELLTALE_FD; `time` in ns, not going back, or
 * TELLTALE_NO_TIME; `place` is yours: events have it again (a frame's number, an offset).
 * Identifiers that carry no diagnostics are passed over.
 * TELLTALE_BAD_ARGUMENT (identifier or size out of range). */
TELLTALE_C_API int telltale_stream_can(telltale_stream* stream, uint16_t line, uint32_t id,
                                       uint32_t flags, const uint8_t* data, size_t size,
                                       int64_t time, uint64_t place);
/** One whole message, service byte first, from a line that this library does not put together.
 * `flags`: TELLTALE_EXTENDED, or TELLTALE_NO_ID (then one nameless ECU answers all). `size` up to
 * TELLTALE_MAX_MESSAGE. TELLTALE_BAD_ARGUMENT, TELLTALE_TOO_LONG. */
TELLTALE_C_API int telltale_stream_message(telltale_stream* stream, uint16_t line, uint32_t id,
                                           uint32_t flags, const uint8_t* bytes, size_t size,
                                           int64_t time, uint64_t place);
/** One frame of a K-line (ISO 9141-2, ISO 14230-2), header and checksum included; up to 260 bytes.
 * TELLTALE_BAD_ARGUMENT. */
TELLTALE_C_API int telltale_stream_kline(telltale_stream* stream, uint16_t line,
                                         const uint8_t* frame, size_t size, int64_t time,
                                         uint64_t place);
/** One frame of SAE J1850, header and CRC included; up to 260 bytes. TELLTALE_BAD_ARGUMENT. */
TELLTALE_C_API int telltale_stream_j1850(telltale_stream* stream, uint16_t line,
                                         const uint8_t* frame, size_t size, int64_t time,
                                         uint64_t place);
/** The input is over: what is still unfinished is told as problems. Afterwards more may come. */
TELLTALE_C_API int telltale_stream_finish(telltale_stream* stream);

/** The next event of the latest call above, until TELLTALE_END; then, and on every failure,
 * `*event` is null. Events and what they point to live until the next call above. */
TELLTALE_C_API int telltale_stream_next(telltale_stream* stream, const telltale_event** event);

/** The vehicle hears what the stream hears, from now on, and names codes as the stream's extension
 * does; null: it no longer does. */
TELLTALE_C_API int telltale_stream_attach(telltale_stream* stream, telltale_vehicle* vehicle);

/* ---- dumps ---------------------------------------------------------------------------------- */

/** A recorded dump of any format that is known (found from its content: pcap, pcapng and several
 * texts), read as a stream: memory does not grow with it. */
typedef struct telltale_dump telltale_dump;

/** Opens a file by its path, in the bytes that the operating system takes; "-" is standard input.
 * TELLTALE_CANNOT_OPEN, TELLTALE_IS_DIRECTORY, TELLTALE_CANNOT_READ, TELLTALE_EMPTY_INPUT,
 * TELLTALE_UNKNOWN_FORMAT, TELLTALE_BAD_ARGUMENT, TELLTALE_NO_MEMORY. */
TELLTALE_C_API int telltale_dump_open(const char* path, const telltale_options* options,
                                      telltale_dump** dump, telltale_error* error);
/** The same over `size` bytes in memory, which must live and stay as they are until the dump is
 * freed. */
TELLTALE_C_API int telltale_dump_open_memory(const uint8_t* bytes, size_t size,
                                             const telltale_options* options, telltale_dump** dump,
                                             telltale_error* error);
TELLTALE_C_API void telltale_dump_free(telltale_dump* dump);

/** The next event; TELLTALE_END after the last. Damage is an event, and reading goes on. The event
 * and what it points to live until the next call on this dump. On END and failure `*event` is
 * null. */
TELLTALE_C_API int telltale_dump_next(telltale_dump* dump, const telltale_event** event);
/** Reads on to the end and tells the listener every event, which is faster than asking for each.
 * TELLTALE_OK when the listener stopped it, after which it can be read on: what is left of the
 * record at hand still comes. TELLTALE_END at the end. */
TELLTALE_C_API int telltale_dump_read(telltale_dump* dump, telltale_listener listener, void* user);
/** As `telltale_stream_attach`. At the end of the dump the vehicle's picture is finished. */
TELLTALE_C_API int telltale_dump_attach(telltale_dump* dump, telltale_vehicle* vehicle);

/** What is known of a dump so far. */
typedef struct telltale_dump_facts {
    telltale_text format; /**< "pcapng", ... */
    uint64_t size;        /**< bytes of the input, where it is known; else 0 */
    uint64_t bytes;       /**< read so far */
    uint64_t frames;      /**< of any kind, passed over or not */
    uint64_t passed_over; /**< frames that carry no diagnostics */
    uint64_t problems;    /**< of the dump itself, not of its messages */
} telltale_dump_facts;
/** Lives until the next call on this dump. Null for a null handle. */
TELLTALE_C_API const telltale_dump_facts* telltale_dump_about(telltale_dump* dump);

/* ---- the vehicle ---------------------------------------------------------------------------- */

/** The picture of a vehicle, built up from what its ECUs say: attach it to a stream or to dumps,
 * one after the other. Memory is bounded; what had no room is counted. */
TELLTALE_C_API int telltale_vehicle_new(telltale_vehicle** vehicle);
TELLTALE_C_API void telltale_vehicle_free(telltale_vehicle* vehicle);
/** The picture out of a whole dump. Statuses as `telltale_dump_open`. */
TELLTALE_C_API int telltale_vehicle_load(const char* path, const telltale_options* options,
                                         telltale_vehicle** vehicle, telltale_error* error);

/** The report as JSON, one object (CONTRACT.md, "report --as json"), or as plain text for a work
 * order. `units`: TELLTALE_SI or TELLTALE_US. Text and size live until the next call of the same
 * function on this vehicle. Null pointers on failure. */
TELLTALE_C_API int telltale_vehicle_json(telltale_vehicle* vehicle, int units, const char** text,
                                         size_t* size);
TELLTALE_C_API int telltale_vehicle_text(telltale_vehicle* vehicle, int units, const char** text,
                                         size_t* size);

/** The essentials of a vehicle. */
typedef struct telltale_vehicle_facts {
    telltale_text vin;       /**< as an ECU told it, or empty; untrusted */
    telltale_text vin_check; /**< check digit: "right", "wrong" (proves nothing outside North
                                  America), "not-a-vin"; empty without a VIN */
    int64_t start;           /**< ns, of the first message; TELLTALE_NO_TIME */
    int64_t end;             /**< ns, of the last */
    uint64_t messages;
    uint64_t requests;
    uint64_t unanswered; /**< requests that no ECU answered */
    uint64_t refused;    /**< negative responses, pending ones aside */
    uint64_t problems;   /**< damaged frames and messages */
    uint64_t not_kept;   /**< things for which there was no room */
    size_t ecus;         /**< for `telltale_vehicle_ecu` */
} telltale_vehicle_facts;

/** One ECU: an identifier that answered on an interface. */
typedef struct telltale_ecu {
    telltale_text id;   /**< identifier in hex: "7E8", "18DAF110"; empty without one */
    telltale_text line; /**< name of its interface, or empty; untrusted */
    telltale_text vin;  /**< that it told, or empty; untrusted */
    uint64_t messages;
    uint64_t problems;
    uint64_t refused;
    int32_t mil;        /**< lamp: 1 on, 0 off, -1 not told (PID 01) */
    int32_t code_count; /**< that PID 01 claims; -1 not told */
    int32_t stored;     /**< codes in the list as read last; -1 not read */
    int32_t pending;
    int32_t permanent;
    int32_t incomplete; /**< monitors not complete since clear; -1 not told */
    size_t codes;       /**< for `telltale_vehicle_code`: of all lists */
    size_t monitors;    /**< for `telltale_vehicle_monitor` */
    size_t signals;     /**< for `telltale_vehicle_signal` */
} telltale_ecu;

/** A code in a list of an ECU. */
typedef struct telltale_code {
    int32_t list; /**< TELLTALE_STORED, TELLTALE_PENDING or TELLTALE_PERMANENT */
    uint32_t raw;
    int32_t failure_type;  /**< -1: the code has two bytes */
    telltale_text text;    /**< "P0143", "P0143-1C" */
    telltale_text meaning; /**< in plain words, or empty */
} telltale_code;

/** A supported monitor, as PID 01 tells it since codes were cleared. */
typedef struct telltale_monitor {
    telltale_text name;
    int32_t complete; /**< 1 or 0 */
    int64_t time;     /**< ns, of the latest answer */
} telltale_monitor;

/** A value that was read again and again. Numbers are in SI units. */
typedef struct telltale_signal {
    uint8_t service;
    uint8_t index;
    uint16_t id; /**< PID or data identifier */
    uint8_t is_number;
    uint8_t decimals;
    telltale_text name;
    telltale_text key;
    telltale_text unit; /**< as a person reads it */
    telltale_text ucum;
    telltale_text text; /**< the latest, of what is no number */
    uint64_t count;     /**< samples */
    double first;
    double last;
    double min;
    double max;
    double mean;
    double rate; /**< samples a second; 0: the times do not tell */
} telltale_signal;

/** Takes the essentials down as they are now. They, and what the four functions below give, live
 * until the next call of this one. TELLTALE_NO_MEMORY, TELLTALE_BAD_ARGUMENT. */
TELLTALE_C_API int telltale_vehicle_look(telltale_vehicle* vehicle,
                                         const telltale_vehicle_facts** facts);
/** By index, as they were at the latest look, in the order of the report; null: there is none. */
TELLTALE_C_API const telltale_ecu* telltale_vehicle_ecu(const telltale_vehicle* vehicle,
                                                        size_t ecu);
TELLTALE_C_API const telltale_code* telltale_vehicle_code(const telltale_vehicle* vehicle,
                                                          size_t ecu, size_t index);
TELLTALE_C_API const telltale_monitor* telltale_vehicle_monitor(const telltale_vehicle* vehicle,
                                                                size_t ecu, size_t index);
TELLTALE_C_API const telltale_signal* telltale_vehicle_signal(const telltale_vehicle* vehicle,
                                                              size_t ecu, size_t index);

/* ---- the catalogue -------------------------------------------------------------------------- */

/** The standard's tables, and what an extension adds. */
typedef struct telltale_catalogue telltale_catalogue;

enum {
    TELLTALE_TABLE_PIDS = 0,           /**< services 01 and 02 (SAE J1979-DA, annex B) */
    TELLTALE_TABLE_INFO_TYPES = 1,     /**< service 09 */
    TELLTALE_TABLE_SCALINGS = 2,       /**< unit and scaling identifiers of service 06 (annex E) */
    TELLTALE_TABLE_MONITORS = 3,       /**< OBDMIDs of service 06 (annex D) */
    TELLTALE_TABLE_TESTS = 4,          /**< standard TIDs of service 06 (annex C) */
    TELLTALE_TABLE_CONTROLS = 5,       /**< TIDs of service 08 */
    TELLTALE_TABLE_NEGATIVE_CODES = 6, /**< negative response codes (ISO 14229-1, annex A) */
    TELLTALE_TABLE_SERVICES = 7,
    TELLTALE_TABLE_OWN = 8 /**< of the extension; by service, id, ECU */
};

/** A row of a table. */
typedef struct telltale_row {
    uint16_t id;
    uint16_t length;       /**< data bytes behind the id; 0: to the end of the message, or the table
                                has none */
    uint16_t short_length; /**< of a shorter form; 0: there is none */
    telltale_text name;
    telltale_text clause;   /**< standard and table */
    telltale_text evidence; /**< on what it rests: "published-example", "published-formula",
                                 "outside-program", "common-practice", "memory" */
    telltale_text unsure;   /**< what is not certain, or empty */
    size_t fields;          /**< for `telltale_catalogue_field` */
    uint32_t ecu;     /**< of TELLTALE_TABLE_OWN: only of the ECU that answers with this identifier;
                           0: of any */
    uint8_t extended; /**< 1: `ecu` has 29 bits */
    uint8_t service;  /**< of TELLTALE_TABLE_OWN: 01, 21 or 22; else 0 */
} telltale_row;

/** What a field holds. */
enum {
    TELLTALE_FIELD_NUMBER = 0,
    TELLTALE_FIELD_CHOICE = 1,
    TELLTALE_FIELD_CODE = 2,
    TELLTALE_FIELD_TEXT = 3,
    TELLTALE_FIELD_HEX = 4,
    TELLTALE_FIELD_BITMAP = 5
};

/** A field of a row: of numbers, value = ((raw - zero) * numerator + shift) / denominator + offset.
 */
typedef struct telltale_field {
    int32_t kind;        /**< TELLTALE_FIELD_NUMBER, ... */
    uint16_t first_byte; /**< from 0 (A) */
    uint16_t bytes;      /**< 0: to the end */
    uint8_t first_bit;   /**< lowest bit, when `bits` is not 0 */
    uint8_t bits;        /**< 0: whole bytes */
    uint8_t is_signed;
    uint8_t decimals;
    int16_t support_byte; /**< the field is there only while this bit is set; -1: always */
    uint8_t support_bit;
    int32_t numerator;
    int32_t denominator;
    int32_t offset;
    int32_t zero; /**< raw value that stands for `offset`; 0 but for a few scalings */
    telltale_text name;
    telltale_text key;  /**< SAE's short name, or empty */
    telltale_text unit; /**< as a person reads it, or empty */
    telltale_text ucum; /**< empty for what is no number */
    telltale_text unsure;
    telltale_text note;
    size_t choices; /**< for `telltale_catalogue_choice` */
    int64_t shift;  /**< 0 but for a few of an extension */
} telltale_field;

/** What a value of a choice means. */
typedef struct telltale_choice {
    uint32_t value;
    uint8_t unsure;
    telltale_text text;
} telltale_choice;

/** The built-in catalogue, with the rows of the extension (may be null) beside it.
 * TELLTALE_NO_MEMORY. What the functions below give lives until it is freed; null or 0: there is
 * none of this table, id or index. Threads: any at once. */
TELLTALE_C_API int telltale_catalogue_new(const telltale_extension* extension,
                                          telltale_catalogue** catalogue);
TELLTALE_C_API void telltale_catalogue_free(telltale_catalogue* catalogue);
/** Rows of a table (TELLTALE_TABLE_PIDS, ...), which ascend by id but for TELLTALE_TABLE_OWN. */
TELLTALE_C_API size_t telltale_catalogue_rows(const telltale_catalogue* catalogue, int table);
TELLTALE_C_API const telltale_row* telltale_catalogue_row(const telltale_catalogue* catalogue,
                                                          int table, size_t row);
/** The index of the (first) row of an id, or SIZE_MAX. */
TELLTALE_C_API size_t telltale_catalogue_find(const telltale_catalogue* catalogue, int table,
                                              uint16_t id);
TELLTALE_C_API const telltale_field* telltale_catalogue_field(const telltale_catalogue* catalogue,
                                                              int table, size_t row, size_t field);
TELLTALE_C_API const telltale_choice* telltale_catalogue_choice(const telltale_catalogue* catalogue,
                                                                int table, size_t row, size_t field,
                                                                size_t choice);

/** The plain description of a trouble code (two-byte form: 0x0143 is P0143), with a zero byte
 * behind it, into `room` bytes at `buffer` (null when `room` is 0), cut where it is longer. Returns
 * its whole length; 0: the code is not known. */
TELLTALE_C_API size_t telltale_code_meaning(uint16_t code, char* buffer, size_t room);

/* ---- runs and their contrast ---------------------------------------------------------------- */

/** One recorded drive: its values over time. */
typedef struct telltale_run telltale_run;

/** Reads a whole dump into a run; comments in it become marks. Statuses as `telltale_dump_open`.
 * `options` may be null; units and frames do not matter here. Memory grows with the drive, up to
 * bounds (100 million samples). */
TELLTALE_C_API int telltale_run_load(const char* path, const telltale_options* options,
                                     telltale_run** run, telltale_error* error);
/** The same from memory, which is needed during the call only. `name` (may be null) is what
 * messages call it. */
TELLTALE_C_API int telltale_run_load_memory(const uint8_t* bytes, size_t size, const char* name,
                                            const telltale_options* options, telltale_run** run,
                                            telltale_error* error);
TELLTALE_C_API void telltale_run_free(telltale_run* run);

/** How to compare. `telltale_contrast_options o = TELLTALE_CONTRAST_OPTIONS_INIT;` */
typedef struct telltale_contrast_options {
    size_t size;      /**< sizeof(telltale_contrast_options) */
    int32_t has_mark; /**< 1: `mark` counts; 0: the first mark of each bad run, else its start */
    int32_t reserved;
    double mark; /**< the moment that the technician points at: seconds from the start of each
                      bad run, within 1e9 s of it */
    const char*
        only; /**< compare only these, as the program's --only has them ("0C,MAP"); null: all */
} telltale_contrast_options;
#define TELLTALE_CONTRAST_OPTIONS_INIT                                                             \
    { sizeof(telltale_contrast_options), 0, 0, 0.0, NULL }

/** A comparison and what it found. */
typedef struct telltale_contrast telltale_contrast;

/** Compares `bad_count` runs in which the fault showed with a good one; `bad_count` 0: the good run
 * with its own majority. Needs the runs during the call only. `options` may be null.
 * TELLTALE_BAD_ARGUMENT, TELLTALE_NO_MEMORY. */
TELLTALE_C_API int telltale_contrast_runs(const telltale_run* good, const telltale_run* const* bad,
                                          size_t bad_count,
                                          const telltale_contrast_options* options,
                                          telltale_contrast** contrast, telltale_error* error);
TELLTALE_C_API void telltale_contrast_free(telltale_contrast* contrast);

/** A signal that left its course: a lead for a pinpoint test, not a verdict
 * (`telltale_contrast_caution`). Numbers are in SI units. */
typedef struct telltale_suspect {
    telltale_text ecu;  /**< identifier in hex, or empty */
    telltale_text line; /**< name of its interface, or empty; untrusted */
    telltale_text name;
    telltale_text key;
    telltale_text unit;
    telltale_text ucum;
    telltale_text kind; /**< "drop-out", "spike", ... (CONTRACT.md) */
    uint8_t service;
    uint8_t index;
    uint16_t id;
    uint32_t run;      /**< index of the bad run of its strongest piece */
    int32_t after;     /**< index of the suspect that it follows from, or -1 */
    uint32_t episodes; /**< pieces */
    double score;      /**< 1 is the limit of what is normal */
    double start;      /**< s from the mark of that run, or from its start */
    double end;
    double peak_difference; /**< in `unit`, value minus what was expected */
    double peak_value;
    double peak_expected;
    telltale_text others;   /**< what the other signals did meanwhile */
    telltale_text sentence; /**< the evidence in one sentence */
    telltale_text proof;    /**< the ordinary test that would prove it (common practice) */
    double late_by; /**< s, of a "lag": the delay or the sensor's time constant; 0: not told */
} telltale_suspect;

/** How many suspects, and each, the best lead first; null: there is none. They live until the
 * contrast is freed. */
TELLTALE_C_API size_t telltale_contrast_suspects(const telltale_contrast* contrast);
TELLTALE_C_API const telltale_suspect* telltale_contrast_suspect(const telltale_contrast* contrast,
                                                                 size_t index);
/** The whole result as JSON, one object (CONTRACT.md, "contrast --as json"). As
 * `telltale_vehicle_json`. */
TELLTALE_C_API int telltale_contrast_json(telltale_contrast* contrast, int units, const char** text,
                                          size_t* size);
/** Says what a suspect is and is not; to be shown with every result. */
TELLTALE_C_API const char* telltale_contrast_caution(void);

#ifdef __cplusplus
}
#endif

#endif
