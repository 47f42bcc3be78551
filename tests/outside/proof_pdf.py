#!/usr/bin/env python3
"""Measures the proof sheet as a ruler would: renders page 1 with poppler (pdftoppm) at 600 dpi
and holds the scale bar against 100.0 mm and the first label's tape against its length, each
within one dot of 600 dpi (0.0423 mm).

usage: proof_pdf.py FILE.pdf --label-mm LENGTH
"""
import argparse
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

DPI = 600
MM = DPI / 25.4
# Millimetres at the foot of a page that no label reaches into.
FOOT = 16
OUTLINE_MM = 0.15  # the tape's outline lies outside the tape


def page_rows(pdf):
    """Rows of page 1 as bytes of grey, 0 black."""
    if not shutil.which("pdftoppm"):
        sys.exit("pdftoppm is missing: install Debian package poppler-utils")
    with tempfile.TemporaryDirectory() as folder:
        base = Path(folder) / "page"
        command = ["pdftoppm", "-r", str(DPI), "-gray", "-f", "1", "-l", "1", "-singlefile", pdf, str(base)]
        subprocess.run(command, check=True)
        data = base.with_suffix(".pgm").read_bytes()
    fields, at = [], 0
    while len(fields) < 4:
        end = at
        while not data[end:end + 1].isspace():
            end += 1
        fields.append(data[at:end])
        at = end + 1
    assert fields[0] == b"P5" and fields[3] == b"255", fields
    width, height = int(fields[1]), int(fields[2])
    return [data[at + y * width:at + (y + 1) * width] for y in range(height)], width, height


def longest_run(row):
    """Length of the longest dark stretch of a row in dots, grey edge dots by their darkness."""
    best, x, width = 0.0, 0, len(row)
    while x < width:
        if row[x] > 250:
            x += 1
            continue
        start, length = x, 0.0
        while x < width and row[x] <= 250:
            length += (255 - row[x]) / 255
            x += 1
        # A row that cuts a line's upper or lower edge is grey throughout: not a measure of length.
        if length > 0.9 * (x - start):
            best = max(best, length)
    return best


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("pdf")
    parser.add_argument("--label-mm", type=float, required=True)
    args = parser.parse_args()
    rows, _, height = page_rows(args.pdf)
    wrong = []

    foot = [longest_run(row) for row in rows[height - int(FOOT * MM):]]
    bar = max(foot)
    print(f"scale bar: {bar / MM:.3f} mm")
    if abs(bar - 100 * MM) > 1:
        wrong.append(f"the scale bar is {bar / MM:.3f} mm long, wanted 100.0 within one dot ({1 / MM:.3f} mm)")

    label = next((run for run in map(longest_run, rows[: height - int(FOOT * MM)]) if run > 8 * MM), 0.0)
    label -= 2 * OUTLINE_MM * MM
    print(f"first label: {label / MM:.3f} mm")
    if abs(label - args.label_mm * MM) > 1:
        wrong.append(f"the first label is {label / MM:.3f} mm long, wanted {args.label_mm} within one dot")

    for sentence in wrong:
        print(sentence, file=sys.stderr)
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
