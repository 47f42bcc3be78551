#!/usr/bin/env python3
"""Holds the picture of a label on its cable against the formula: what lies at an arc s from straight on
is seen at x = (D / 2) sin(s / (D / 2)) from the cable's middle (a cylinder seen from far away,
elementary geometry), and nothing beyond a quarter turn is seen.

usage: oncable_dots.py PICTURE.png LABEL.pbm --cable MM --diameter MM --along DPI --across DPI
       [--round lines|dots] [--first MM] [--centre MM] [--turn] [--reversed] [--scale S] [--stretch S] [--period MM --end MM]

The picture is as `proof --on-cable` writes it, of a label that goes round its cable; its density is in
its pHYs chunk. LABEL.pbm is the label as it reads (a row a head line, dot 0 first). CABLE is the
cable's diameter, DIAMETER that at which the print lies. Lines or dots go round; the first dot lies FIRST mm from the tape's edge, and CENTRE mm
from the tape's start (or edge) faces the reader. --turn: the cable stands. --reversed: places count
upwards. SCALE shortens what goes round, STRETCH what goes along. --period: the tape is wound on
itself, so long round, and ends at END mm.

It looks at the middle of every dot that is seen at least 1.8 pixels wide (then more than half of the pixel
there is of that dot), and says how many.
"""
import argparse
import math
import re
import struct
import sys
import zlib


def png(path):
    """Pixels of a millimetre, and grey rows of an 8-bit grey PNG."""
    data = open(path, "rb").read()
    at, body, density = 8, b"", None
    while at < len(data):
        length, kind = struct.unpack(">I4s", data[at:at + 8])
        chunk = data[at + 8:at + 8 + length]
        if kind == b"IHDR":
            width, height, depth, colour, _, _, lace = struct.unpack(">IIBBBBB", chunk)
            assert (depth, colour, lace) == (8, 0, 0), "not 8-bit grey"
        elif kind == b"pHYs":
            density = struct.unpack(">I", chunk[:4])[0] / 1000
        elif kind == b"IDAT":
            body += chunk
        at += 12 + length
    raw, rows, before = zlib.decompress(body), [], bytes(width)
    for y in range(height):
        line = bytearray(raw[y * (width + 1) + 1:(y + 1) * (width + 1)])
        how = raw[y * (width + 1)]
        for x in range(width):
            left = line[x - 1] if x else 0
            up, corner = before[x], before[x - 1] if x else 0
            if how == 1:
                line[x] = (line[x] + left) & 255
            elif how == 2:
                line[x] = (line[x] + up) & 255
            elif how == 3:
                line[x] = (line[x] + (left + up) // 2) & 255
            elif how == 4:
                guess = left + up - corner
                best = min((abs(guess - left), 0, left), (abs(guess - up), 1, up), (abs(guess - corner), 2, corner))
                line[x] = (line[x] + best[2]) & 255
        before = bytes(line)
        rows.append(before)
    return density, rows


def pbm(path):
    """Dots and rows of bits of a raw PBM."""
    data = open(path, "rb").read()
    head = re.match(rb"P4\s+(\d+)\s+(\d+)\s", data)
    assert head, f"{path}: not a raw PBM"
    dots, lines = int(head[1]), int(head[2])
    long = (dots + 7) // 8
    return dots, [data[head.end() + y * long:head.end() + (y + 1) * long] for y in range(lines)]


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("picture")
    parser.add_argument("label")
    for name in ("cable", "diameter", "along", "across"):
        parser.add_argument(f"--{name}", type=float, required=True)
    parser.add_argument("--round", choices=("lines", "dots"), required=True)
    parser.add_argument("--first", type=float, default=0)
    parser.add_argument("--centre", type=float, required=True)
    parser.add_argument("--turn", action="store_true")
    parser.add_argument("--reversed", action="store_true")
    parser.add_argument("--scale", type=float, default=1)
    parser.add_argument("--stretch", type=float, default=1)
    parser.add_argument("--period", type=float)
    parser.add_argument("--end", type=float)
    args = parser.parse_args()
    density, rows = png(args.picture)
    dots, lines = pbm(args.label)

    # Along the cable the label is as long as its white. Where the cable's middle is, is seen beside it.
    white = [(x, y) for y, row in enumerate(rows) if (x := row.find(255)) >= 0]
    left, right = min(x for x, _ in white), max(row.rfind(255) for row in rows)
    edge = 0.15 * density  # the outline lies inside the label, that of the cable outside it
    if args.turn:
        long = white[-1][1] - white[0][1] + 1 + 2 * edge
        start = white[-1][1] + 1 + edge
        beyond = rows[int(start + 4 * density)]
    else:
        long = right - left + 1 + 2 * edge
        start = left - edge
        beyond = bytes(row[int(start - 4 * density)] for row in rows)
    sheath = max(re.finditer(rb"[\x97-\xc7]+", beyond), key=lambda run: len(run.group()))
    middle, wide = (sheath.start() + sheath.end()) / 2, len(sheath.group()) / density
    if abs(wide - args.cable) > 2 / density:
        sys.exit(f"the cable is {wide:.3f} mm wide, wanted {args.cable:.3f}")
    radius = args.diameter / 2

    looked, wrong = 0, 0
    for line, bits in enumerate(lines):
        for dot in range(dots):
            if args.round == "lines":
                place, along = line * 25.4 / args.along, args.first + (dot + 0.5) * 25.4 / args.across
                step = 25.4 / args.along
            else:
                place, along = args.first + dot * 25.4 / args.across, (line + 0.5) * 25.4 / args.along * args.stretch
                step = 25.4 / args.across
            if not edge + 1 < along * density < long - edge - 1:
                continue  # under the outline
            if args.period and place < args.end - args.period:
                continue  # covered by the last turn
            turns = range(-1, 2) if args.period else (0,)
            for turn in turns:
                arcs = [(place + part * step - args.centre + turn * (args.period or 0)) * args.scale for part in (0, 0.5, 1)]
                if max(abs(arc) for arc in arcs) > radius * math.pi / 2:
                    continue
                near, seen, far = (radius * math.sin(arc / radius) for arc in arcs)
                if abs(far - near) * density < 1.8 or abs(seen) > radius - 0.3:
                    continue
                beside = middle + (-seen if args.reversed else seen) * density
                x, y = (beside, start - along * density) if args.turn else (start + along * density, beside)
                looked += 1
                ink = bool(bits[dot >> 3] & 0x80 >> (dot & 7))
                wrong += (rows[int(y)][int(x)] < 128) != ink
    print(f"{looked} dots seen")
    if looked < 1000:
        sys.exit(f"only {looked} dots are seen")
    if wrong:
        sys.exit(f"{wrong} of {looked} dots are not where the formula has them")


if __name__ == "__main__":
    main()
