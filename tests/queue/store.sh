#!/bin/sh
# The print command of the tests' printer: keeps the document, then does what the job's name begins with.
#
# QUEUE is the folder of the printer. Lines STATE:, ERROR: and exit codes: ippeveprinter(1). Nothing here
# waits for a time: a wait ends when a test makes a file, or when the printer or its folder has gone.
set -eu
kept="$QUEUE/received/$IPP_JOB_ID"
env | grep '^IPP_' | sort > "$kept.settings"
cp "$1" "$kept.part"
mv "$kept.part" "$kept.document"

await() {
    while [ -d "$QUEUE" ] && [ ! -e "$QUEUE/$1" ] && kill -0 "$PPID" 2>/dev/null; do sleep 0.02; done
}

case "$IPP_JOB_NAME" in
empty*)
    echo "STATE: +media-empty,media-needed" >&2
    await refilled
    echo "STATE: -media-empty,media-needed" >&2
    ;;
jam*)
    echo "STATE: +media-jam" >&2
    echo "ERROR: the tape is in knots" >&2
    exit 1
    ;;
slow*)
    await go
    ;;
esac
