/* A driver module that does harm when told: for the tests of isolation. Written from driver.h.
 *
 * Options: `harm` says what, `at` at which call of begin_job, begin_strip, lines, blank, end_strip
 * and end_job together (from 1). Stream: for each strip "strip N\n", its lines as they are, and
 * "\nend N\n" with the number of its labels. */
#include "driver.h"

#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

typedef struct instance {
    tw_driver table;
    unsigned char *out;
    size_t len, cap, taken;
    uint32_t labels, calls, at;
    char harm[16];
    int ending, asking;
} instance;

static void fall(void)
{
    volatile int *volatile nowhere = NULL;
    *nowhere = 1;
}

static void do_harm(instance *me)
{
    if (++me->calls != me->at)
        return;
    if (strcmp(me->harm, "segv") == 0)
        fall();
    if (strcmp(me->harm, "kill") == 0)
        raise(SIGKILL);
    if (strcmp(me->harm, "abort") == 0)
        abort();
    if (strcmp(me->harm, "exit") == 0)
        exit(3);
    if (strcmp(me->harm, "print") == 0) {
        puts("hello from a driver");
        fflush(stdout);
    }
    if (strcmp(me->harm, "forge") == 0) {
        /* An answer as the program's own: 4 GiB of stream, where no stream lies. */
        const unsigned char answer[] = {0xF5, 'T', 'W', 1, 9, 0, 0, 0, 15, 1, 0, 0, 0, 255, 255, 255, 255};
        fwrite(answer, 1, sizeof answer, stdout);
        fflush(stdout);
    }
    if (strcmp(me->harm, "ask") == 0)
        me->asking = 1;
    if (strcmp(me->harm, "close") == 0)
        fclose(stdout), close(1);
    if (strcmp(me->harm, "close") == 0 || strcmp(me->harm, "loop") == 0)
        for (volatile int forever = 1; forever;)
            ;
}

static tw_status put(instance *me, const void *bytes, size_t len)
{
    if (me->len + len > me->cap) {
        me->cap = (me->len + len) * 2;
        me->out = realloc(me->out, me->cap);
        if (me->out == NULL)
            abort();
    }
    memcpy(me->out + me->len, bytes, len);
    me->len += len;
    return TW_OK;
}

static tw_status put_number(instance *me, const char *word, uint32_t number)
{
    char text[32];
    int len = snprintf(text, sizeof text, "%s %lu\n", word, (unsigned long)number);
    return put(me, text, (size_t)len);
}

static tw_status begin_job(void *self, const tw_job *job)
{
    instance *me = self;
    if (job == NULL || job->size < sizeof *job)
        return TW_BAD_ARGUMENT;
    for (uint32_t i = 0; i < job->option_count; i++) {
        const char *base = (const char *)job->options + (size_t)i * job->option_stride;
        const tw_pair *pair = (const tw_pair *)(const void *)base;
        if (strcmp(pair->key, "harm") == 0)
            snprintf(me->harm, sizeof me->harm, "%s", pair->value);
        if (strcmp(pair->key, "at") == 0)
            me->at = (uint32_t)strtoul(pair->value, NULL, 10);
    }
    do_harm(me);
    return TW_OK;
}

static tw_status begin_strip(void *self, const tw_strip *strip)
{
    instance *me = self;
    me->labels = strip->labels;
    do_harm(me);
    return put_number(me, "strip", strip->index);
}

static tw_status lines(void *self, const uint8_t *rows, size_t len, uint32_t count)
{
    instance *me = self;
    (void)count;
    do_harm(me);
    if (strcmp(me->harm, "slow") == 0)
        usleep(300 * 1000);
    if (strcmp(me->harm, "scribble") == 0 && me->calls >= me->at)
        ((unsigned char *)(uintptr_t)rows)[0] ^= 1;
    return put(me, rows, len);
}

static tw_status blank(void *self, uint32_t count)
{
    (void)count;
    do_harm(self);
    return TW_OK;
}

static tw_status end_strip(void *self)
{
    instance *me = self;
    do_harm(me);
    return put_number(me, "\nend", me->labels);
}

static tw_status end_job(void *self)
{
    instance *me = self;
    do_harm(me);
    me->ending = 1;
    return TW_OK;
}

static tw_status cancel(void *self)
{
    instance *me = self;
    me->len = me->taken = 0;
    me->ending = 1;
    return put(me, "cancelled\n", 10);
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
    if (me->asking) {
        action->kind = TW_ACTION_WAIT_REPLY;
        action->count = 1;
        action->milliseconds = 1;
        return TW_OK;
    }
    action->kind = me->ending ? TW_ACTION_DONE : TW_ACTION_MORE_INPUT;
    me->ending = 0;
    return TW_OK;
}

static tw_status reply(void *self, const uint8_t *bytes, size_t len)
{
    (void)self;
    (void)bytes;
    (void)len;
    return TW_OK;
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
    out->flags = 0;
    return TW_OK;
}

static tw_status fault(void *self, tw_fault *out)
{
    (void)self;
    out->status = TW_BUG;
    strcpy(out->text, "no fault was raised");
    return TW_OK;
}

static const void *no_extension(void *self, const char *id)
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

static const char *const harms[] = {"none", "segv", "kill", "abort", "exit", "print", "loop", "ask", "close"};
static const tw_option harm = {sizeof harm, TW_OPTION_CHOICE, "harm", "none", "what to do", 0, 0, harms, 9, 0};
static const tw_option at = {sizeof at, TW_OPTION_INT, "at", "0", "at which call; 0: at none", 0, 1000000, NULL, 0, 0};
static const tw_option *const options[] = {&harm, &at};
static const tw_descriptor descriptor = {
    sizeof descriptor, TW_CARRIES_HALF_CUTS | TW_CARRIES_INNER_CUTS, "trouble", "Trouble", "1",
    "does harm when told", options, NULL, 2, 0,
};

static uint32_t count(void)
{
    return 1;
}

static const tw_descriptor *describe(uint32_t index)
{
    return index == 0 ? &descriptor : NULL;
}

static tw_status create(const char *family, const tw_host *host, const tw_driver **out, tw_fault *told)
{
    (void)family;
    (void)host;
    (void)told;
    instance *me = calloc(1, sizeof *me);
    if (me == NULL)
        return TW_LIMIT;
    me->table = (tw_driver){
        sizeof me->table, 0, me, begin_job, begin_strip, lines, blank, end_strip, end_job, cancel,
        take, reply, port_status, status, fault, no_extension, destroy,
    };
    *out = &me->table;
    return TW_OK;
}

static const void *get_extension(const char *family, const char *id)
{
    (void)family;
    (void)id;
    return NULL;
}

static const tw_factory factory = {sizeof factory, 0, count, describe, create, get_extension};

static const void *get_factory(const char *id)
{
    return strcmp(id, TW_FACTORY_ID) == 0 ? &factory : NULL;
}

static const tw_entry entry = {sizeof entry, TW_MAJOR, TW_MINOR, 0, get_factory};

const tw_entry *tapewright_driver_entry(void);
const tw_entry *tapewright_driver_entry(void)
{
    /* A module that cannot even be looked at. */
    if (getenv("TROUBLE_AT_LOAD") != NULL)
        fall();
    return &entry;
}
