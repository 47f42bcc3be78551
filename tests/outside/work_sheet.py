#!/usr/bin/env python3
"""Reads a work sheet as a person at the bench would: renders every page with poppler (pdftoppm) at
600 dpi, measures the scale bar against 100.0 mm within one dot (0.0423 mm) on every page, finds the
labels and the boxes to tick, and reads the labels back with tesseract (OCR).

usage: work_sheet.py FILE.pdf --paper a4|letter LABELS

LABELS has a line for each label in the order of the sheet, fields parted by tabs: the name of cable and
end, the words printed on the label (letters and digits; blanks part them), and how far the label is
turned by: 0 or 90 (then it is read turned by a quarter to the right).

Checked: the paper's size (ISO 216; ANSI Letter is 8.5 × 11 in); page n of m on every page; every name
as text, in this order (pdftotext); two square boxes for every label; every word of every label. A word
counts as read where it differs by one letter at most, letters and digits that look alike in print taken
as one (0 and O, 1 and l and I): OCR is wrong on its own account now and then, so up to one label in
twenty may be misread.
"""
import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

DPI = 600
MM = DPI / 25.4
FOOT = 19  # millimetres
PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
BOX = 4.5
LEFT = 46.0  # labels begin here, millimetres from the page's left
LONG = re.compile(rb"[\x00-\x7f]{%d,}" % int(4.6 * MM))


def needs(program, package):
    if not shutil.which(program):
        sys.exit(f"{program} is missing: install Debian package {package}")


def pgm(path):
    data = path.read_bytes()
    head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", data)
    assert head, f"{path}: not a raw PGM of 255 greys"
    width, height = int(head[1]), int(head[2])
    return width, height, [data[head.end() + y * width:head.end() + (y + 1) * width] for y in range(height)]


def bar(rows):
    """Longest dark stretch of a row at the foot, in dots; grey ends count by their darkness."""
    best = 0.0
    for row in rows[-int(FOOT * MM):]:
        for run in re.finditer(rb"[\x00-\xfa]{%d,}" % int(50 * MM), row):
            length = sum(255 - grey for grey in run.group()) / 255
            if length > 0.9 * len(run.group()):
                best = max(best, length)
    return best


def boxes(rows):
    """Left, top, right, bottom of the outlines on a page, top ones first."""
    lines = []
    for y, row in enumerate(rows[:-int(FOOT * MM)]):
        for run in LONG.finditer(row):
            same = next((at for at in reversed(lines[-60:])
                         if at[3] == y - 1 and abs(at[0] - run.start()) <= 1 and abs(at[1] - run.end()) <= 1), None)
            if same:
                same[3] = y
            else:
                lines.append([run.start(), run.end(), y, y])
    # An outline is thin; what is thick is ink.
    lines = [line for line in lines if line[3] - line[2] < 0.4 * MM]
    found = []
    while lines:
        left, right, first, last = lines.pop(0)
        below = next((at for at in lines if abs(at[0] - left) <= 1 and abs(at[1] - right) <= 1), None)
        if below:
            lines.remove(below)
            found.append((left, first, right, below[3] + 1))
    return found


def is_tick(box):
    """A square of 4.5 mm, outlined outside."""
    wide, high = (box[2] - box[0]) / MM, (box[3] - box[1]) / MM
    return abs(wide - BOX - 0.3) < 0.1 and abs(high - BOX - 0.3) < 0.1


def alike(text):
    return re.sub("[^A-Z0-9]", "", text.upper()).translate(str.maketrans("OILQ", "0110"))


def differ(one, other):
    """Letters put in, left out or changed."""
    row = list(range(len(other) + 1))
    for i, a in enumerate(one, 1):
        last, row[0] = row[0], i
        for j, b in enumerate(other, 1):
            last, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, last + (a != b))
    return row[-1]


def is_read(word, said):
    """Whether a word stands in what was read, to a letter."""
    word = alike(word)
    spans = (said[at:at + size] for size in (len(word) - 1, len(word), len(word) + 1) for at in range(len(said)))
    return len(word) < 2 or any(differ(word, span) <= (len(word) > 2) for span in spans)


def read(crops, folder):
    """What tesseract reads on each picture."""
    names = []
    for number, rows in enumerate(crops):
        name = Path(folder) / f"{number}.pgm"
        name.write_bytes(b"P5\n%d %d\n255\n" % (len(rows[0]), len(rows)) + b"".join(rows))
        names.append(str(name))
    listed = Path(folder) / "crops"
    listed.write_text("\n".join(names))
    done = subprocess.run(["tesseract", str(listed), "-", "--psm", "6", "-l", "eng", "--dpi", "300"],
                          capture_output=True, env={**os.environ, "OMP_THREAD_LIMIT": "1"})
    if done.returncode:
        sys.exit(f"tesseract: {done.stderr.decode().strip()}")
    return done.stdout.decode().split("\f")[:len(crops)]


def crop(rows, box, turn):
    """A label without its outline, with a blank rim, half as large, turned so that it reads."""
    inset, rim = int(0.4 * MM), 40
    left, top, right, bottom = box[0] + inset, box[1] + inset, box[2] - inset, box[3] - inset
    part = [rows[y][left:right] for y in range(top, bottom)]
    if turn:
        part = [bytes(column) for column in zip(*part[::-1])]
    part = [bytes((row[x] + row[x + 1]) // 2 for x in range(0, len(row) - 1, 2)) for row in part[::2]]
    blank = b"\xff" * (len(part[0]) + 2 * rim)
    return [blank] * rim + [b"\xff" * rim + row + b"\xff" * rim for row in part] + [blank] * rim


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("pdf")
    parser.add_argument("labels")
    parser.add_argument("--paper", choices=PAPERS, required=True)
    args = parser.parse_args()
    needs("pdftoppm", "poppler-utils")
    needs("tesseract", "tesseract-ocr")
    labels = [line.split("\t") for line in Path(args.labels).read_text().splitlines()]
    wrong, crops, ticks = [], [], 0

    text = subprocess.run(["pdftotext", "-layout", args.pdf, "-"], capture_output=True, check=True).stdout.decode()
    pages = text.split("\f")[:-1]
    for number, page in enumerate(pages, 1):
        if f"page {number} of {len(pages)}" not in page:
            wrong.append(f"page {number} does not say `page {number} of {len(pages)}`")
    at, flat = 0, re.sub(r"\s+", " ", text)
    for name, _, _ in labels:
        here = flat.find(name, at)
        if here < 0:
            wrong.append(f"`{name}` does not stand where it should")
            break
        at = here + len(name)

    with tempfile.TemporaryDirectory() as folder:
        subprocess.run(["pdftoppm", "-r", str(DPI), "-gray", args.pdf, f"{folder}/page"], check=True)
        for path in sorted(Path(folder).glob("page*.pgm")):
            width, height, rows = pgm(path)
            wanted = PAPERS[args.paper]
            if abs(width - wanted[0] * MM) > 1.5 or abs(height - wanted[1] * MM) > 1.5:
                wrong.append(f"{path.stem} is {width / MM:.1f} × {height / MM:.1f} mm, wanted {wanted}")
            length = bar(rows)
            if abs(length - 100 * MM) > 1:
                wrong.append(f"{path.stem}: the scale bar is {length / MM:.3f} mm, wanted 100.0 within {1 / MM:.3f}")
            here = boxes(rows)
            ticks += sum(map(is_tick, here))
            at_left = [box for box in here if abs(box[0] / MM - LEFT + 0.15) < 0.1]
            crops += [(rows, box) for box in sorted(at_left, key=lambda box: box[1])]
        if len(crops) != len(labels):
            wrong.append(f"found {len(crops)} labels on {len(pages)} pages, wanted {len(labels)}")
        if ticks != 2 * len(labels):
            wrong.append(f"found {ticks} boxes to tick, wanted {2 * len(labels)}")
        if not wrong:
            said = read([crop(rows, box, int(label[2])) for (rows, box), label in zip(crops, labels)], folder)
            misread = []
            for (name, words, _), text in zip(labels, said):
                lost = [word for word in words.split() if not is_read(word, alike(text))]
                if lost:
                    misread.append(f"{name}: `{' '.join(lost)}` is not read, but {' '.join(text.split())!r}")
            print(f"{len(pages)} pages, {len(labels)} labels, {len(misread)} misread")
            print("\n".join(misread))
            if len(misread) * 20 > len(labels):
                wrong.append(f"{len(misread)} of {len(labels)} labels are misread: {misread[0]}")
    for sentence in wrong:
        print(sentence, file=sys.stderr)
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
