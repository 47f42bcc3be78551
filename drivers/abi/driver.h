/* tapewright driver interface, version 1.0, for C11.
 *
 * This file is the truth; the Rust mirror in src/raw.rs follows it. A driver
 * module is a shared library named tapewright_driver_<name> (with the
 * platform's prefix and suffix) that exports one function:
 *
 *     const tw_entry *tapewright_driver_entry(void);
 *
 * A driver does no input and no output. It is a state machine: job, strips,
 * lines and reply bytes go in; stream bytes and waits come out.
 *
 * Rules that hold for everything below
 *   Growth    Every struct starts with `size`, the bytes its writer knows. A
 *             reader never reads past it; a callee that fills a struct never
 *             writes past the `size` its caller set. A new minor version adds
 *             fields at the end, factories or extensions; a new major may
 *             change anything. Arrays of plain records carry a stride.
 *   Reserved  Fields named `reserved` are written as 0 and not read.
 *   Strings   UTF-8, NUL-terminated, never NULL unless the comment says so.
 *   Memory    Nothing is freed on the other side. Each pointer's comment tells
 *             its owner and how long it is valid. "call" = until the function
 *             returns; "module" = until the process ends (a module is loaded
 *             once and never unloaded); "instance" = until destroy returns.
 *   Threads   [any-thread]        at any time, on any thread, also at once.
 *             [job-thread & open] between create and destroy, one call at a
 *                                 time for one instance; the calls may come
 *                                 from different threads, never at once.
 *   Unwinding No exception or panic ever leaves a function of either side.
 *
 * Words: a head line is one row of dots across the tape. Dot 0 is the most
 * significant bit of byte 0; 1 = ink. Hold the strip so that its first line is
 * leftmost: dot 0 is at the bottom edge. Lengths along the tape are in lines.
 */
#ifndef TAPEWRIGHT_DRIVER_H
#define TAPEWRIGHT_DRIVER_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

#define TW_MAJOR 1u /* must match exactly */
#define TW_MINOR 0u /* only adds */

#define TW_ENTRY_SYMBOL "tapewright_driver_entry"
#define TW_FACTORY_ID "driver-factory/1"
#define TW_READBACK_ID "readback/1"
#define TW_FAMILY_FILES_ID "family-files/1"

/* -- Results ------------------------------------------------------------- */

/* What a function returns. After anything but TW_OK the fault record tells
 * more. After TW_BAD_STATE and TW_BAD_ARGUMENT the call had no effect, unless
 * the driver itself raised it; after the others the job is lost: only cancel,
 * take, fault, status and destroy make sense. */
typedef int32_t tw_status;
#define TW_OK 0
#define TW_FAULT 1        /* the device or the job: see the fault record */
#define TW_BAD_STATE 2    /* not now: a call out of order, a count that does not fit */
#define TW_BAD_ARGUMENT 3 /* a NULL, a struct too small, an option value out of range */
#define TW_UNSUPPORTED 4  /* this family or this setting cannot do it */
#define TW_LIMIT 5        /* a stated limit was passed */
#define TW_BUG 6          /* the driver's own mistake */

#define TW_FAULT_TEXT 512

/* Filled by the driver in the caller's memory. */
typedef struct tw_fault {
    uint32_t size;   /* set by the caller */
    int32_t status;  /* the tw_status this record belongs to; TW_OK: no fault */
    uint32_t code;   /* the family's own number; 0 when it has none */
    uint32_t retry;  /* 1: the same job may succeed when sent again; else 0 */
    char text[TW_FAULT_TEXT]; /* one sentence, cut at a character when longer */
} tw_fault;

/* -- Job and strip ------------------------------------------------------- */

typedef struct tw_pair { /* element of an array with a stride */
    const char *key;   /* host, call */
    const char *value; /* host, call */
} tw_pair;

typedef struct tw_job {
    uint32_t size;
    uint32_t strips;         /* strips in the whole job; 0: not known yet */
    uint32_t dpi_across_milli; /* across the tape, 1/1000 dot per inch: 203200 is 8 dots/mm */
    uint32_t dpi_along_milli;  /* along the tape, lines, 1/1000 per inch */
    uint32_t dots;           /* width of a head line, at least 1 */
    uint32_t bytes_per_line; /* (dots + 7) / 8; the spare bits are 0 */
    int32_t web_first_dot;   /* the tape's edge on the dot 0 side, in head dots; negative
                                when the tape is wider than the head */
    uint32_t web_dots;       /* width of the tape in dots, at least 1 */
    uint32_t width_um;       /* nominal width of the tape in micrometres; 0: not known */
    uint32_t option_count;
    uint32_t option_stride;  /* bytes from one tw_pair to the next */
    uint32_t reserved;
    const char *name;        /* host, call: for the device's display or log */
    const char *stock_kind;  /* host, call: "tape", "wrap", "sleeve", "plate", ... */
    const char *stock_title; /* host, call: as a person calls it */
    const tw_pair *options;  /* host, call; may be NULL when option_count is 0. Options not
                                listed take their defaults; an unknown key is refused */
} tw_job;

#define TW_CUT_HALF 1u /* through the printed layer, the backing holds */
#define TW_CUT_FULL 2u

typedef struct tw_cut { /* element of an array with a stride */
    uint32_t line; /* the cut lies before this line; 0 ... lines */
    uint32_t kind; /* TW_CUT_HALF or TW_CUT_FULL */
} tw_cut;

/* One piece of tape. Its lines are all lines of the piece in feed order as
 * measured at the cutter: first lead_lines blank ones (tape that stood between
 * head and cutter; a family whose device feeds the lead by itself may skip
 * them), then labels and gaps, then trail_lines blank ones (trail and pad). */
typedef struct tw_strip {
    uint32_t size;
    uint32_t index;       /* from 0, without holes */
    uint32_t lines;       /* at least 1, lead and trail included */
    uint32_t lead_lines;  /* at most lines */
    uint32_t trail_lines; /* at most lines - lead_lines */
    uint32_t labels;      /* labels on this strip */
    uint32_t cut_count;
    uint32_t cut_stride;  /* bytes from one tw_cut to the next */
    const tw_cut *cuts;   /* host, call; strictly ascending by line; may be NULL when
                             cut_count is 0. A full cut at the end has line == lines;
                             without a cutter there is none */
} tw_strip;

/* -- Output -------------------------------------------------------------- */

#define TW_ACTION_BYTES 1u      /* `count` bytes (1 ... cap) are in the buffer: send them */
#define TW_ACTION_WAIT 2u       /* send nothing for `milliseconds` (at least 1) */
#define TW_ACTION_WAIT_REPLY 3u /* call reply with `count` (at least 1) bytes, or with what
                                   came within `milliseconds` (at least 1) */
#define TW_ACTION_MORE_INPUT 4u /* everything is out; the next input call may come */
#define TW_ACTION_DONE 5u       /* everything is out after end_job or cancel */

/* Filled by the driver in the caller's memory. */
typedef struct tw_action {
    uint32_t size; /* set by the caller */
    uint32_t kind;
    uint64_t count;
    uint32_t milliseconds;
    uint32_t reserved;
} tw_action;

/* -- State of the device ------------------------------------------------- */

#define TW_DEVICE_KNOWN 1u       /* the device has told its state; else ignore the rest */
#define TW_DEVICE_READY 2u
#define TW_DEVICE_BUSY 4u
#define TW_DEVICE_STOCK_OUT 8u
#define TW_DEVICE_COVER_OPEN 16u
#define TW_DEVICE_WRONG_STOCK 32u /* found_width_um and found_kind tell what is loaded */
#define TW_DEVICE_FAULT 64u       /* `text` says which */

#define TW_KIND_TEXT 32
#define TW_STATUS_TEXT 256

/* Filled by the driver in the caller's memory. */
typedef struct tw_device_status {
    uint32_t size;  /* set by the caller */
    uint32_t flags; /* TW_DEVICE_... */
    uint32_t found_width_um; /* width of the loaded stock; 0: not known */
    uint32_t reserved;
    char found_kind[TW_KIND_TEXT]; /* kind of the loaded stock; "": not known */
    char text[TW_STATUS_TEXT];     /* one sentence; "": nothing to say */
} tw_device_status;

/* -- Host ---------------------------------------------------------------- */

#define TW_LOG_DEBUG 1u
#define TW_LOG_INFO 2u
#define TW_LOG_WARNING 3u
#define TW_LOG_ERROR 4u

/* Given to create; owned by the host; valid for the instance. */
typedef struct tw_host {
    uint32_t size;
    uint32_t reserved;
    void *context; /* host, instance: handed back in every call; may be NULL */
    /* [job-thread & open] Only during a call on the instance. text: driver, call. */
    void (*log)(void *context, uint32_t level, const char *text);
} tw_host;

/* -- Instance ------------------------------------------------------------ */

/* Order of calls:
 *
 *   begin_job ( begin_strip ( lines | blank )* end_strip )* end_job
 *
 * After each of these the host calls take until it says MORE_INPUT, after
 * end_job and cancel until it says DONE; then begin_job may come again. A
 * driver holds the output of one call at most, and refuses the next input
 * (TW_BAD_STATE) while something is not taken. */
typedef struct tw_driver {
    uint32_t size;
    uint32_t reserved;
    void *self; /* driver, instance: first argument of every function */

    /* [job-thread & open] job: host, call. */
    tw_status (*begin_job)(void *self, const tw_job *job);
    /* [job-thread & open] strip: host, call. */
    tw_status (*begin_strip)(void *self, const tw_strip *strip);
    /* [job-thread & open] rows: host, call; `count` (at least 1) head lines back to back,
     * len == count * bytes_per_line. */
    tw_status (*lines)(void *self, const uint8_t *rows, size_t len, uint32_t count);
    /* [job-thread & open] `count` (at least 1) head lines without ink. */
    tw_status (*blank)(void *self, uint32_t count);
    /* [job-thread & open] After exactly tw_strip.lines lines. */
    tw_status (*end_strip)(void *self);
    /* [job-thread & open] After tw_job.strips strips, when that was not 0. */
    tw_status (*end_job)(void *self);
    /* [job-thread & open] Gives the job up in any state. Output not yet taken is dropped; what
     * the device needs to become usable again comes out of take. */
    tw_status (*cancel)(void *self);
    /* [job-thread & open] buffer: host, call; `cap` (at least 1) bytes the driver may fill.
     * action: host, call. Also allowed after a fault. */
    tw_status (*take)(void *self, uint8_t *buffer, size_t cap, tw_action *action);
    /* [job-thread & open] The answer to WAIT_REPLY: what the device said. bytes: host, call.
     * len 0 (bytes may be NULL): nothing came in time, or the link cannot answer. */
    tw_status (*reply)(void *self, const uint8_t *bytes, size_t len);
    /* [job-thread & open] The status byte of a USB printer (USB Printer Class 1.1, request
     * GET_PORT_STATUS), whenever the host has read it. */
    tw_status (*port_status)(void *self, uint8_t status);
    /* [job-thread & open] What the device last told. out: host, call. */
    tw_status (*status)(void *self, tw_device_status *out);
    /* [job-thread & open] The last result that was not TW_OK. out: host, call. */
    tw_status (*fault)(void *self, tw_fault *out);
    /* [job-thread & open] Extra functions of an instance, by an id that ends in its revision.
     * id: host, call. Result: driver, instance; NULL: not offered. */
    const void *(*get_extension)(void *self, const char *id);
    /* [job-thread & open] The last call; `self` and this struct are gone afterwards. */
    void (*destroy)(void *self);
} tw_driver;

/* -- Factory ------------------------------------------------------------- */

#define TW_OPTION_BOOL 1u   /* "true" or "false" */
#define TW_OPTION_INT 2u    /* decimal, min ... max */
#define TW_OPTION_STRING 3u
#define TW_OPTION_CHOICE 4u /* one of `choices` */

typedef struct tw_option {
    uint32_t size;
    uint32_t type;              /* TW_OPTION_... */
    const char *id;             /* module: lower case words with hyphens */
    const char *default_text;   /* module: the default, written as a value */
    const char *help;           /* module: one sentence */
    int64_t min;                /* TW_OPTION_INT */
    int64_t max;                /* TW_OPTION_INT */
    const char *const *choices; /* module; may be NULL when choice_count is 0 */
    uint32_t choice_count;
    uint32_t reserved;
} tw_option;

/* A device is meant when the IEEE 1284 device id has `key` with `value`. */
typedef struct tw_pattern {
    uint32_t size;
    uint32_t reserved;
    const char *key;   /* module: "MDL", "CMD", ... */
    const char *value; /* module */
} tw_pattern;

#define TW_CARRIES_HALF_CUTS 1u  /* half cuts can be told to the device (perhaps with an option) */
#define TW_CARRIES_INNER_CUTS 2u /* full cuts inside a strip too */
#define TW_READS_REPLIES 4u      /* better over a link that answers */

/* One family of devices that speak one command language. */
typedef struct tw_descriptor {
    uint32_t size;
    uint32_t capabilities;       /* TW_CARRIES_..., TW_READS_... */
    const char *family;          /* module: id, lower case letters, digits, hyphens: "pwg" */
    const char *title;           /* module */
    const char *version;         /* module: of the driver, "0.1.0" */
    const char *description;     /* module: one sentence */
    const tw_option *const *options;   /* module; may be NULL when option_count is 0 */
    const tw_pattern *const *patterns; /* module; may be NULL when pattern_count is 0 */
    uint32_t option_count;
    uint32_t pattern_count;
} tw_descriptor;

/* get_factory("driver-factory/1"). No function looks for devices or waits. */
typedef struct tw_factory {
    uint32_t size;
    uint32_t reserved;
    /* [any-thread] */
    uint32_t (*count)(void);
    /* [any-thread] Result: module; NULL when index >= count(). */
    const tw_descriptor *(*describe)(uint32_t index);
    /* [any-thread] family: host, call. host: host, instance. *out: driver, instance; set only
     * with TW_OK. fault: host, call; may be NULL. */
    tw_status (*create)(const char *family, const tw_host *host, const tw_driver **out,
                        tw_fault *fault);
    /* [any-thread] Extra functions of a family that need no instance, by an id that ends in its
     * revision. family, id: host, call. Result: module; NULL: not offered. */
    const void *(*get_extension)(const char *family, const char *id);
} tw_factory;

typedef struct tw_entry {
    uint32_t size;
    uint32_t major; /* TW_MAJOR */
    uint32_t minor; /* TW_MINOR */
    uint32_t reserved;
    /* [any-thread] id: host, call. Result: module; NULL: not offered. */
    const void *(*get_factory)(const char *id);
} tw_entry;

/* [any-thread] Result: module. */
typedef const tw_entry *(*tw_entry_function)(void);

/* -- Extension "readback/1": reading a stream back ------------------------ */

/* Head of a strip as it stands in the stream. */
typedef struct tw_readback_page {
    uint32_t size;
    uint32_t lines; /* lines of the strip; 0: the stream does not say in advance */
    uint32_t dots;  /* width of a line in the stream, at least 1 */
    uint32_t dpi_across_milli; /* 0: the stream does not say */
    uint32_t dpi_along_milli;  /* 0: the stream does not say */
    uint32_t reserved;
} tw_readback_page;

/* Where the decoder reports. Owned by the host, valid for the call. Order:
 * ( strip_begin ( lines | blank | cut )* strip_end )*. A cut may come anywhere
 * in its strip; cuts ascend. A result other than TW_OK means stop: the decoder
 * returns TW_FAULT without calling again. */
typedef struct tw_readback_events {
    uint32_t size;
    uint32_t reserved;
    void *context; /* host, call: handed back in every call; may be NULL */
    /* [job-thread & open] page: driver, call. */
    tw_status (*strip_begin)(void *context, const tw_readback_page *page);
    /* [job-thread & open] rows: driver, call; `count` (at least 1) lines back to back,
     * len == count * ((dots + 7) / 8), spare bits 0. */
    tw_status (*lines)(void *context, const uint8_t *rows, size_t len, uint32_t count);
    /* [job-thread & open] `count` (at least 1) lines without ink. */
    tw_status (*blank)(void *context, uint32_t count);
    /* [job-thread & open] kind: TW_CUT_...; the cut lies before `line`. */
    tw_status (*cut)(void *context, uint32_t kind, uint32_t line);
    /* [job-thread & open] */
    tw_status (*strip_end)(void *context);
} tw_readback_events;

/* Memory does not grow with the stream. After a result other than TW_OK only
 * fault and destroy make sense. */
typedef struct tw_decoder {
    uint32_t size;
    uint32_t reserved;
    void *self; /* driver, until destroy: first argument of every function */
    /* [job-thread & open] events: host, call. bytes: host, call; may be NULL when len is 0. */
    tw_status (*push)(void *self, const tw_readback_events *events, const uint8_t *bytes,
                      size_t len);
    /* [job-thread & open] The stream ends here. events: host, call. */
    tw_status (*finish)(void *self, const tw_readback_events *events);
    /* [job-thread & open] As in tw_driver. */
    tw_status (*fault)(void *self, tw_fault *out);
    /* [job-thread & open] The last call. */
    void (*destroy)(void *self);
} tw_decoder;

typedef struct tw_readback {
    uint32_t size;
    uint32_t reserved;
    void *self; /* driver, module: first argument of both functions; may be NULL */
    /* [any-thread] 0 (not mine) ... 100 (surely mine). first: host, call; the first len bytes. */
    uint32_t (*recognises)(void *self, const uint8_t *first, size_t len);
    /* [any-thread] *out: driver, until its destroy; set only with TW_OK. */
    tw_status (*create)(void *self, const tw_decoder **out);
} tw_readback;

/* -- Factory "family-files/1": families described in files ----------------- */

/* get_factory("family-files/1"), by a module that learns families from text. The host reads the
 * files, the module never does. Right after it has loaded the module, before count and describe,
 * the host hands over every file in its module folders whose name ends in "." and `suffix`. A
 * family so added is one of the factory's like any other, for as long as the process runs. */
typedef struct tw_family_files {
    uint32_t size;
    uint32_t reserved;
    const char *suffix; /* module: lower case letters and digits, without the dot: "toml" */
    /* [any-thread] Adds the family in `text`. name: host, call: the file, for the log; text: host,
     * call. fault: host, call; may be NULL. Its text names the line, what was found and what was
     * wanted, without the file. After a result other than TW_OK nothing was added and all other
     * families work as before. */
    tw_status (*add)(const char *name, const char *text, tw_fault *fault);
} tw_family_files;

#ifdef __cplusplus
}
#endif
#endif
