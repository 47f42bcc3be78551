/* A driver module written from driver.h alone: what the interface asks of C, and no kit.
 *
 * Stream: "J", then for each strip "S" and the number of lines as four bytes, most significant
 * first; a line is "l" and its byte, blank lines are "b" and their number as a byte; cuts are "h" or
 * "f" and the line as four bytes; "s" ends a strip, "j" the job. Lines are 1 byte. */
#include "driver.h"

#include <stdlib.h>
#include <string.h>

typedef struct instance {
    tw_driver table;
    const tw_host *host;
    unsigned char *out;
    size_t len, cap, taken;
    uint32_t bytes_per_line, left;
    int in_job, in_strip, ending;
    tw_status status;
    const char *text;
} instance;

static tw_status fail(instance *me, tw_status status, const char *text)
{
    me->status = status;
    me->text = text;
    return status;
}

static tw_status put(instance *me, const void *bytes, size_t len)
{
    if (me->len + len > me->cap) {
        size_t cap = (me->len + len) * 2;
        unsigned char *out = realloc(me->out, cap);
        if (out == NULL)
            return fail(me, TW_LIMIT, "no memory");
        me->out = out;
        me->cap = cap;
    }
    memcpy(me->out + me->len, bytes, len);
    me->len += len;
    return TW_OK;
}

static tw_status put_byte(instance *me, unsigned value)
{
    unsigned char byte = (unsigned char)value;
    return put(me, &byte, 1);
}

static void put_number(instance *me, uint32_t number)
{
    for (int shift = 24; shift >= 0; shift -= 8)
        put_byte(me, number >> shift & 0xFF);
}

static tw_status begin_job(void *self, const tw_job *job)
{
    instance *me = self;
    if (job == NULL || job->size < sizeof *job)
        return fail(me, TW_BAD_ARGUMENT, "no job, or one too small");
    if (me->in_job)
        return fail(me, TW_BAD_STATE, "begin_job inside a job");
    if (job->bytes_per_line != 1)
        return fail(me, TW_UNSUPPORTED, "a line has more than 8 dots, wanted 1 to 8");
    if (me->host->log != NULL)
        me->host->log(me->host->context, TW_LOG_INFO, job->name);
    for (uint32_t i = 0; i < job->option_count; i++) {
        const char *base = (const char *)job->options + (size_t)i * job->option_stride;
        const tw_pair *pair = (const tw_pair *)(const void *)base;
        if (strcmp(pair->key, "greeting") != 0)
            return fail(me, TW_BAD_ARGUMENT, "an option is not known, wanted greeting");
        put(me, pair->value, strlen(pair->value));
    }
    me->bytes_per_line = job->bytes_per_line;
    me->in_job = 1;
    return put_byte(me, 'J');
}

static tw_status begin_strip(void *self, const tw_strip *strip)
{
    instance *me = self;
    if (!me->in_job || me->in_strip)
        return fail(me, TW_BAD_STATE, "begin_strip out of order");
    me->in_strip = 1;
    me->left = strip->lines;
    put_byte(me, 'S');
    put_number(me, strip->lines);
    for (uint32_t i = 0; i < strip->cut_count; i++) {
        const char *base = (const char *)strip->cuts + (size_t)i * strip->cut_stride;
        const tw_cut *cut = (const tw_cut *)(const void *)base;
        put_byte(me, cut->kind == TW_CUT_HALF ? 'h' : 'f');
        put_number(me, cut->line);
    }
    return TW_OK;
}

static tw_status lines(void *self, const uint8_t *rows, size_t len, uint32_t count)
{
    instance *me = self;
    if (!me->in_strip || count > me->left || len != count)
        return fail(me, TW_BAD_STATE, "lines out of order");
    me->left -= count;
    for (uint32_t i = 0; i < count; i++) {
        put_byte(me, 'l');
        put_byte(me, rows[i]);
    }
    return TW_OK;
}

static tw_status blank(void *self, uint32_t count)
{
    instance *me = self;
    if (!me->in_strip || count > me->left)
        return fail(me, TW_BAD_STATE, "blank out of order");
    me->left -= count;
    for (; count > 255; count -= 255) {
        put_byte(me, 'b');
        put_byte(me, 255);
    }
    put_byte(me, 'b');
    return put_byte(me, count);
}

static tw_status end_strip(void *self)
{
    instance *me = self;
    if (!me->in_strip || me->left != 0)
        return fail(me, TW_BAD_STATE, "end_strip out of order");
    me->in_strip = 0;
    return put_byte(me, 's');
}

static tw_status end_job(void *self)
{
    instance *me = self;
    if (!me->in_job || me->in_strip)
        return fail(me, TW_BAD_STATE, "end_job out of order");
    me->in_job = 0;
    me->ending = 1;
    return put_byte(me, 'j');
}

static tw_status cancel(void *self)
{
    instance *me = self;
    me->in_job = me->in_strip = 0;
    me->len = me->taken = 0;
    me->ending = 1;
    return put_byte(me, '!');
}

static tw_status take(void *self, uint8_t *buffer, size_t cap, tw_action *action)
{
    instance *me = self;
    size_t n = me->len - me->taken;
    if (n > cap)
        n = cap;
    if (n > 0) {
        memcpy(buffer, me->out + me->taken, n);
        me->taken += n;
        action->kind = TW_ACTION_BYTES;
        action->count = n;
        return TW_OK;
    }
    me->len = me->taken = 0;
    action->kind = me->ending ? TW_ACTION_DONE : TW_ACTION_MORE_INPUT;
    me->ending = 0;
    return TW_OK;
}

static tw_status reply(void *self, const uint8_t *bytes, size_t len)
{
    (void)bytes;
    (void)len;
    return fail(self, TW_BAD_STATE, "nobody asked");
}

static tw_status port_status(void *self, uint8_t status)
{
    (void)self;
    (void)status;
    return TW_OK;
}

static tw_status status(void *self, tw_device_status *out)
{
    (void)self;
    out->flags = TW_DEVICE_KNOWN | TW_DEVICE_READY;
    out->found_width_um = 6000;
    strcpy(out->found_kind, "tape");
    strcpy(out->text, "ready");
    return TW_OK;
}

static tw_status fault(void *self, tw_fault *out)
{
    instance *me = self;
    out->status = me->status;
    out->code = 7;
    out->retry = 1;
    strcpy(out->text, me->text);
    return TW_OK;
}

static const void *get_extension(void *self, const char *id)
{
    (void)self;
    (void)id;
    return NULL;
}

static void destroy(void *self)
{
    instance *me = self;
    free(me->out);
    free(me);
}

/* -- Readback ------------------------------------------------------------ */

typedef struct reader {
    tw_decoder table;
    int state; /* the letter whose bytes are read; 0: before a letter */
    uint32_t number, digits;
    const char *text;
} reader;

static tw_status read_letter(reader *me, const tw_readback_events *to, uint8_t byte)
{
    switch (byte) {
    case 'J':
    case 'j':
        return TW_OK;
    case 's':
        return to->strip_end(to->context);
    case 'S':
    case 'l':
    case 'b':
    case 'h':
    case 'f':
        me->state = byte;
        me->number = me->digits = 0;
        return TW_OK;
    default:
        me->text = "a letter is not known";
        return TW_FAULT;
    }
}

static tw_status read_number(reader *me, const tw_readback_events *to, uint8_t byte)
{
    int letter = me->state;
    tw_readback_page page = {0};
    if (letter != 'l' && letter != 'b') {
        me->number = me->number << 8 | byte;
        if (++me->digits < 4)
            return TW_OK;
    }
    me->state = 0;
    switch (letter) {
    case 'S':
        page.size = sizeof page;
        page.lines = me->number;
        page.dots = 8;
        return to->strip_begin(to->context, &page);
    case 'l':
        return to->lines(to->context, &byte, 1, 1);
    case 'b':
        return to->blank(to->context, byte);
    default:
        return to->cut(to->context, letter == 'h' ? TW_CUT_HALF : TW_CUT_FULL, me->number);
    }
}

static tw_status push(void *self, const tw_readback_events *events, const uint8_t *bytes, size_t len)
{
    reader *me = self;
    for (size_t i = 0; i < len; i++) {
        tw_status status = me->state == 0 ? read_letter(me, events, bytes[i])
                                          : read_number(me, events, bytes[i]);
        if (status != TW_OK)
            return TW_FAULT;
    }
    return TW_OK;
}

static tw_status finish(void *self, const tw_readback_events *events)
{
    (void)self;
    (void)events;
    return TW_OK;
}

static tw_status reader_fault(void *self, tw_fault *out)
{
    reader *me = self;
    out->status = TW_FAULT;
    strcpy(out->text, me->text);
    return TW_OK;
}

static uint32_t recognises(void *self, const uint8_t *first, size_t len)
{
    (void)self;
    return len > 0 && first[0] == 'J' ? 40 : 0;
}

static tw_status create_reader(void *self, const tw_decoder **out)
{
    static const tw_decoder table = {
        .size = sizeof(tw_decoder), .push = push, .finish = finish, .fault = reader_fault,
        .destroy = free,
    };
    reader *me = calloc(1, sizeof *me);
    (void)self;
    if (me == NULL)
        return TW_LIMIT;
    me->table = table;
    me->table.self = me;
    me->text = "";
    *out = &me->table;
    return TW_OK;
}

/* -- Factory ------------------------------------------------------------- */

static const tw_option greeting = {
    .size = sizeof(tw_option), .type = TW_OPTION_STRING, .id = "greeting", .default_text = "",
    .help = "what to say first",
};
static const tw_option *const options[] = {&greeting};

static const tw_descriptor plain = {
    .size = sizeof(tw_descriptor), .capabilities = TW_CARRIES_HALF_CUTS, .family = "plain-c",
    .title = "Plain", .version = "0.9", .description = "a driver in C",
    .options = options, .option_count = 1,
};

/* A family learned from a file: the text is its id. Room for one. */
static char learned_id[32];
static tw_descriptor learned;

static tw_status add(const char *name, const char *text, tw_fault *record)
{
    if (strcmp(name, "odd.plain") == 0)
        return 99; /* no tw_status */
    if (learned_id[0] != '\0' || strlen(text) >= sizeof learned_id) {
        if (record != NULL && record->size >= sizeof *record) {
            record->status = TW_LIMIT;
            strcpy(record->text, "line 1: found another family, wanted one");
        }
        return TW_LIMIT;
    }
    strcpy(learned_id, text);
    learned = plain;
    learned.family = learned_id;
    return TW_OK;
}

static uint32_t count(void) { return learned_id[0] == '\0' ? 1 : 2; }

static const tw_descriptor *describe(uint32_t index)
{
    if (index == 0)
        return &plain;
    return index < count() ? &learned : NULL;
}

static tw_status create(const char *family, const tw_host *host, const tw_driver **out, tw_fault *record)
{
    static const tw_driver table = {
        .size = sizeof(tw_driver), .begin_job = begin_job, .begin_strip = begin_strip,
        .lines = lines, .blank = blank, .end_strip = end_strip, .end_job = end_job,
        .cancel = cancel, .take = take, .reply = reply, .port_status = port_status,
        .status = status, .fault = fault, .get_extension = get_extension, .destroy = destroy,
    };
    instance *me;
    (void)record;
    if (strcmp(family, plain.family) != 0 && strcmp(family, learned_id) != 0)
        return TW_UNSUPPORTED;
    me = calloc(1, sizeof *me);
    if (me == NULL)
        return TW_LIMIT;
    me->table = table;
    me->table.self = me;
    me->host = host;
    me->text = "";
    *out = &me->table;
    return TW_OK;
}

static const void *extension(const char *family, const char *id)
{
    static const tw_readback readback = {
        .size = sizeof(tw_readback), .recognises = recognises, .create = create_reader,
    };
    if (strcmp(family, plain.family) == 0 && strcmp(id, TW_READBACK_ID) == 0)
        return &readback;
    return NULL;
}

static const void *get_factory(const char *id)
{
    static const tw_factory factory = {
        .size = sizeof(tw_factory), .count = count, .describe = describe, .create = create,
        .get_extension = extension,
    };
    static const tw_family_files files = {
        .size = sizeof(tw_family_files), .suffix = "plain", .add = add,
    };
    if (strcmp(id, TW_FAMILY_FILES_ID) == 0)
        return &files;
    return strcmp(id, TW_FACTORY_ID) == 0 ? &factory : NULL;
}

const tw_entry *tapewright_driver_entry(void);

const tw_entry *tapewright_driver_entry(void)
{
    static const tw_entry entry = {
        .size = sizeof(tw_entry), .major = TW_MAJOR, .minor = TW_MINOR, .get_factory = get_factory,
    };
    return &entry;
}
