#!/usr/bin/env python3
"""Read printed identifiers by machine, ours and FreeType's, and count wrong characters.

usage: text_ocr.py FOLDER [--contact PICTURE.png]

FOLDER holds texts.txt, one identifier a line, and cells.txt, one cell a line, its fields parted by
tabs: name, cap height in dots, dots along over dots up in thousandths, font file, picture. The
picture is a raw PBM of our device raster, 1 = ink, every text on rows of its own: a cell is three
cap heights high, its baseline one cap height above the lower edge, its pen 4 dots from the left.

Against ours stand FreeType's two ways to render for 1 bit, both at the cap height asked for, set in
whole-dot advances as it fits them: the font's own instructions, or FreeType's automatic hints where
the font has none ("bytecode"), and automatic hints in any case ("auto").

All are enlarged by the same whole number to capitals of about 36 pixels, without smoothing, 40 texts a
page, and read by tesseract (Debian package tesseract-ocr) as one block, without word lists. An error
is one letter put in, left out or changed (Levenshtein). Intervals are of the paired bootstrap, 95 %,
over texts, 2,000 draws, seeded.

It says no when ours is worse than the better of the two beyond the interval in any cell, or not
better than it beyond the interval in the sum of all cells. With --contact it reads nothing: it writes
a sheet of the first texts of all cells in all three ways.

Exit status: 0 as it should be, 1 not (one sentence on stderr), 2 wrong usage.
"""

import argparse
import os
import random
import struct
import subprocess
import sys
import tempfile
import zlib
from concurrent.futures import ThreadPoolExecutor

try:
    import freetype
except ImportError:
    print("text_ocr: the package freetype-py is missing: tests/run installs it", file=sys.stderr)
    sys.exit(1)

MARGIN = 4
PAGE = 40
MONO = freetype.FT_LOAD_TARGET_MONO | freetype.FT_LOAD_RENDER
WAYS = {"bytecode": MONO, "auto": MONO | freetype.FT_LOAD_FORCE_AUTOHINT}


class Wrong(Exception):
    """Something is not as it should be; the text says what."""


def read_pbm(path):
    """Rows of a raw PBM as strings of 0 and 1."""
    with open(path, "rb") as file:
        magic, width, height = file.readline().split()
        rows = file.read()
    if magic != b"P4":
        raise Wrong(f"{path}: not a raw PBM")
    width, height = int(width), int(height)
    stride = (width + 7) // 8
    return [f"{int.from_bytes(rows[y * stride : (y + 1) * stride], 'big'):0{stride * 8}b}"[:width] for y in range(height)]


def sized(font, cap, ratio, flags):
    """The face at the size at which its H is as many rows high as asked."""
    face = freetype.Face(font)
    face.load_char("H", freetype.FT_LOAD_NO_SCALE)
    box = face.glyph.outline.get_bbox()
    exact = cap / (box.yMax - box.yMin) * face.units_per_EM * 64
    for step in range(64):
        for size in (round(exact) + step, round(exact) - step):
            face.set_char_size(round(size * ratio / 1000), size, 72, 72)
            face.load_char("H", flags)
            if face.glyph.bitmap.rows == cap:
                return face
    # Its instructions skip this height: then the exact size.
    face.set_char_size(round(exact * ratio / 1000), round(exact), 72, 72)
    return face


def freetype_texts(font, cap, ratio, flags, texts):
    """Each text as rows of 0 and 1, three cap heights high."""
    face = sized(font, cap, ratio, flags)
    glyphs = {}
    for letter in set("".join(texts)):
        face.load_char(letter, flags)
        bitmap = face.glyph.bitmap
        rows = [bitmap.buffer[y * bitmap.pitch : (y + 1) * bitmap.pitch] for y in range(bitmap.rows)]
        ink = [(x, y) for y, row in enumerate(rows) for x in range(bitmap.width) if row[x // 8] >> (7 - x % 8) & 1]
        glyphs[letter] = (ink, face.glyph.bitmap_left, face.glyph.bitmap_top, face.glyph.advance.x >> 6)
    for text in texts:
        width = sum(glyphs[letter][3] for letter in text) + 2 * MARGIN
        rows = [bytearray(b"0" * width) for _ in range(3 * cap)]
        pen = MARGIN
        for letter in text:
            ink, left, top, advance = glyphs[letter]
            for x, y in ink:
                row, column = 2 * cap - top + y, pen + left + x
                if 0 <= row < len(rows) and 0 <= column < width:
                    rows[row][column] = ord("1")
            pen += advance
        yield [row.decode() for row in rows]


def our_texts(picture, cap, texts):
    rows = read_pbm(picture)
    if len(rows) != 3 * cap * len(texts):
        raise Wrong(f"{picture}: {len(rows)} rows, wanted {3 * cap * len(texts)}")
    for at in range(0, len(rows), 3 * cap):
        yield rows[at : at + 3 * cap]


def read(cells, cap, ratio):
    """What tesseract reads in each cell."""
    with tempfile.TemporaryDirectory() as folder:
        return read_pages(cells, cap, ratio, folder)


def read_pages(cells, cap, ratio, folder):
    times = max(1, round(36 / cap))
    wide = max(1, round(times * 1000 / ratio))
    pages = [cells[at : at + PAGE] for at in range(0, len(cells), PAGE)]
    names = []
    for number, page in enumerate(pages):
        width = max(len(cell[0]) for cell in page) + 4 * MARGIN
        rows = ["0" * width] * cap + [("0" * 2 * MARGIN + row).ljust(width, "0") for cell in page for row in cell] + ["0" * width] * cap
        size = width * wide
        stride = (size + 7) // 8
        lines = []
        for row in rows:
            bits = "".join(bit * wide for bit in row).ljust(stride * 8, "0")
            lines.append(int(bits, 2).to_bytes(stride, "big") * times)
        names.append(os.path.join(folder, f"{number}.pbm"))
        with open(names[-1], "wb") as file:
            file.write(f"P4\n{size} {len(rows) * times}\n".encode() + b"".join(lines))
    listed = os.path.join(folder, "pages")
    with open(listed, "w") as file:
        file.write("\n".join(names))
    options = ["--psm", "6", "-l", "eng", "--dpi", "300", "-c", "load_system_dawg=0", "-c", "load_freq_dawg=0", "tsv"]
    try:
        done = subprocess.run(
            ["tesseract", listed, "-", *options], capture_output=True, env={**os.environ, "OMP_THREAD_LIMIT": "1"}
        )
    except FileNotFoundError:
        raise Wrong("tesseract is missing: the Debian package is tesseract-ocr") from None
    if done.returncode:
        raise Wrong(f"tesseract: {done.stderr.decode().strip()}")
    said = [""] * len(cells)
    for line in done.stdout.decode().split("\n")[1:]:
        part = line.split("\t")
        if len(part) == 12 and part[0] == "5":
            page, middle = int(part[1]) - 1, int(part[7]) + int(part[9]) / 2
            row = int((middle / times - cap) // (3 * cap))
            if 0 <= row < len(pages[page]):
                said[page * PAGE + row] += part[11]
    return said


def errors(said, text):
    row = list(range(len(text) + 1))
    for i, x in enumerate(said, 1):
        before, row[0] = row[0], i
        for j, y in enumerate(text, 1):
            before, row[j] = row[j], min(row[j] + 1, row[j - 1] + 1, before + (x != y))
    return min(row[-1], len(text))


def interval(differences, letters):
    """Of the mean difference, in percent of letters."""
    draw = random.Random(1)
    sums = sorted(sum(draw.choices(differences, k=len(differences))) for _ in range(2000))
    return 100 * sums[49] / letters, 100 * sums[1949] / letters


def png(path, rows):
    """A grey picture of 1 bit; rows of 0 and 1, 1 is black."""
    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    width = len(rows[0])
    stride = (width + 7) // 8
    flip = str.maketrans("01", "10")
    data = b"".join(b"\0" + int(row.translate(flip).ljust(stride * 8, "0"), 2).to_bytes(stride, "big") for row in rows)
    with open(path, "wb") as file:
        file.write(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, len(rows), 1, 0, 0, 0, 0)))
        file.write(chunk(b"IDAT", zlib.compress(data, 9)) + chunk(b"IEND", b""))


def contact(path, cells, texts):
    """Three columns, ours, bytecode and auto; a row of each text, cells below each other."""
    rows = []
    for name, cap, ratio, font, picture in cells:
        ways = [list(our_texts(picture, cap, texts))]
        ways += [list(freetype_texts(font, cap, ratio, flags, texts)) for flags in WAYS.values()]
        wide = max(len(cell[0]) for way in ways for cell in way)
        # All cells twice as large: one dot is four pixels.
        for row in range(len(texts)):
            for y in range(cap // 2, 3 * cap - cap // 2):
                line = "".join(way[row][y].ljust(wide + 8, "0") for way in ways)
                rows += ["".join(bit * 2 for bit in line)] * 2
    width = max(map(len, rows))
    png(path, [row.ljust(width, "0") for row in rows])


def table(cells, texts):
    letters = sum(map(len, texts))
    print(f"| cell | cap, dots | ours | {' | '.join(WAYS)} | ours less the better, 95 % |")
    print("|---|---|---|" + "---|" * len(WAYS) + "---|")
    sums, total, worse = [0] * len(texts), [0] * (len(WAYS) + 1), []
    done = {}
    for name, cap, ratio, font, picture in cells:
        found = done.get((cap, ratio, font))
        if found is None:
            ways = [list(our_texts(picture, cap, texts))]
            ways += [list(freetype_texts(font, cap, ratio, flags, texts)) for flags in WAYS.values()]
            with ThreadPoolExecutor(os.cpu_count()) as pool:
                said = pool.map(lambda way: read(way, cap, ratio), ways)
                found = [[errors(*pair) for pair in zip(one, texts)] for one in said]
            done[cap, ratio, font] = found
        ours, *theirs = found
        best = min(theirs, key=sum)
        differences = [a - b for a, b in zip(ours, best)]
        sums = [a + b for a, b in zip(sums, differences)]
        total = [a + sum(way) for a, way in zip(total, found)]
        low, high = interval(differences, letters)
        if low > 0:
            worse.append(name)
        shares = " | ".join(f"{100 * sum(way) / letters:.1f}" for way in found)
        print(f"| {name} | {cap} | {shares} | {100 * sum(differences) / letters:+.1f} ({low:+.1f} to {high:+.1f}) |", flush=True)
    low, high = interval(sums, letters * len(cells))
    shares = " | ".join(f"{100 * way / letters / len(cells):.2f}" for way in total)
    print(f"| all | | {shares} | {100 * sum(sums) / letters / len(cells):+.2f} ({low:+.2f} to {high:+.2f}) |", flush=True)
    if worse:
        raise Wrong(f"ours is read worse than the better of FreeType's beyond the interval at {', '.join(worse)}")
    if high >= 0:
        raise Wrong(f"in sum ours is not read better beyond the interval: {low:+.2f} to {high:+.2f} % of letters")


def main():
    parser = argparse.ArgumentParser(usage=__doc__.split("\n\n")[1].removeprefix("usage: "))
    parser.add_argument("folder")
    parser.add_argument("--contact")
    given = parser.parse_args()
    try:
        def lines(name):
            with open(os.path.join(given.folder, name), encoding="utf-8") as file:
                return file.read().split("\n")[:-1]

        texts, cells = lines("texts.txt"), []
        for line in lines("cells.txt"):
            name, cap, ratio, font, picture = line.split("\t")
            cells.append((name, int(cap), int(ratio), font, os.path.join(given.folder, picture)))
        if given.contact:
            contact(given.contact, cells, texts)
        else:
            table(cells, texts)
    except (Wrong, OSError) as error:
        print(f"text_ocr: {error}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
