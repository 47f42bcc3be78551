#!/usr/bin/env python3
"""Holds every dot of every label on the proof sheet against the label's raster: renders all pages
with poppler (pdftoppm) at 600 dpi, finds the outlines of the tape in reading order, and looks at
the middle of each dot's place. Each tape is as long and as high as planned within 1.5 dots of
600 dpi (0.06 mm).

usage: proof_labels.py FILE.pdf FOLDER

FOLDER has label-0001.pbm and so on in the order of the sheet (a row a head line, dot 0 first, as it
reads), and labels.txt with a line each: dpi along, dpi across, height of the tape in mm, and from
the tape's upper edge to the upper edge of the last dot in mm.
"""
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

DPI = 600
MM = DPI / 25.4
LINE = 0.15 * MM  # the tape's outline lies outside the tape
FOOT = 20 * MM  # the scale bar is no label
LONG = re.compile(rb"[\x00-\x7f]{%d,}" % int(18 * MM))  # longer than any stroke of a letter
OFF = 1.5


def pgm(path):
    """Width, height and grey rows of a raw PGM."""
    data = path.read_bytes()
    head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", data)
    assert head, f"{path}: not a raw PGM of 255 greys"
    width, height = int(head[1]), int(head[2])
    return width, height, [data[head.end() + y * width:head.end() + (y + 1) * width] for y in range(height)]


def pbm(path):
    """Dots, lines and rows of bits of a raw PBM, each row a whole number."""
    data = path.read_bytes()
    head = re.match(rb"P4\s+(\d+)\s+(\d+)\s", data)
    assert head, f"{path}: not a raw PBM"
    dots, lines = int(head[1]), int(head[2])
    long = (dots + 7) // 8
    return dots, [data[head.end() + y * long:head.end() + (y + 1) * long] for y in range(lines)]


def frames(rows, height):
    """Inner edges of the outlines of a page in reading order: left, top, right, bottom."""
    lines = []  # [left, right, first row, last row]
    for y, row in enumerate(rows[: int(height - FOOT)]):
        for run in LONG.finditer(row):
            same = next((at for at in reversed(lines[-40:])
                         if at[3] == y - 1 and abs(at[0] - run.start()) <= 1 and abs(at[1] - run.end()) <= 1), None)
            if same:
                same[3] = y
            else:
                lines.append([run.start(), run.end(), y, y])
    found = []
    while lines:
        left, right, first, last = lines.pop(0)
        below = next((at for at in lines if abs(at[0] - left) <= 1 and abs(at[1] - right) <= 1), None)
        if not below:
            return None
        lines.remove(below)
        # The middle of a line is known to half a dot, whichever of its edges fell on grey.
        top = (first + last + 1) / 2 + LINE / 2
        bottom = (below[2] + below[3] + 1) / 2 - LINE / 2
        found.append((left + LINE, top, right - LINE, bottom))
    found.sort(key=lambda frame: frame[1])
    ordered = []
    while found:
        row = [frame for frame in found if frame[1] - found[0][1] < 10]
        found = found[len(row):]
        ordered += sorted(row)
    return ordered


def main():
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    if not shutil.which("pdftoppm"):
        sys.exit("pdftoppm is missing: install Debian package poppler-utils")
    folder = Path(sys.argv[2])
    wanted = [[float(word) for word in line.split()] for line in (folder / "labels.txt").read_text().splitlines()]
    wrong, found, dots_seen = [], [], 0
    with tempfile.TemporaryDirectory() as pages:
        subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", sys.argv[1], f"{pages}/page"], check=True)
        for path in sorted(Path(pages).glob("page*.pgm")):
            _, height, rows = pgm(path)
            here = frames(rows, height)
            if here is None:
                sys.exit(f"{path.name}: a line without its other side")
            found += [(rows, frame) for frame in here]
    if len(found) != len(wanted):
        sys.exit(f"found {len(found)} labels on the sheet, wanted {len(wanted)}")
    for nth, ((rows, (left, top, right, bottom)), (along, across, tape, above)) in enumerate(zip(found, wanted), 1):
        dots, lines = pbm(folder / f"label-{nth:04}.pbm")
        if abs(right - left - len(lines) * DPI / along) > OFF or abs(bottom - top - tape * MM) > OFF:
            wrong.append(f"label {nth} is {(right - left) / MM:.2f} × {(bottom - top) / MM:.2f} mm, "
                         f"wanted {len(lines) * 25.4 / along:.2f} × {tape:.2f}")
            continue
        ys = [int(top + above * MM + (dots - 1 - dot + 0.5) * DPI / across) for dot in range(dots)]
        differ = []
        for line, bits in enumerate(lines):
            x = int(left + (line + 0.5) * DPI / along)
            for dot, y in enumerate(ys):
                if (rows[y][x] < 128) != bool(bits[dot >> 3] & 0x80 >> (dot & 7)):
                    differ.append((line, dot))
        dots_seen += dots * len(lines)
        if differ:
            wrong.append(f"label {nth}: {len(differ)} dots differ, the first in line {differ[0][0]}, dot {differ[0][1]}")
    print(f"{len(found)} labels, {dots_seen} dots")
    for sentence in wrong:
        print(sentence, file=sys.stderr)
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
