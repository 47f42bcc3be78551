#!/usr/bin/env python3
"""Compare printed text with FreeType's metrics and outlines of the same font file.

usage: font_metrics.py FONT.ttf STRIP.pbm TEXT CAP_DOTS RATIO [--turn along|up] [--lines FROM TO]

STRIP.pbm is a strip with one label, as `tapewright readback --pbm` writes it: a row a head line,
1 = ink. On it stands TEXT, one line set once, at a cap height of CAP_DOTS dots; RATIO is dots of a
length along the text over dots of the same length up it. --turn up: the text reads across the
tape, from dot 0 up, its top towards the first line. --lines: the label's own lines, where guides
are printed beside it.

Checked, with the cap height measured on the outline of H (FreeType 2, FT_LOAD_NO_SCALE):
 1. height of the ink over the baseline of the text: within one dot of the outline's extent;
 2. width of the ink: within two dots of advances and outline for one letter, and half a dot more for
    each further one (every advance is rounded to whole dots);
 3. for one letter: its dots, against FreeType's own rendering without hinting, inked where it covers
    half of a dot. Ours is fitted to the dots, so strokes may be moved and widened by less than a
    dot: every dot of the one must touch a dot of the other, and both must have as many pieces of
    ink and as many holes.

Exit status: 0 as it should be, 1 not (one sentence on stderr), 2 wrong usage.
"""

import argparse
import sys

try:
    import freetype
except ImportError:
    print("font_metrics: the package freetype-py is missing: tests/run installs it", file=sys.stderr)
    sys.exit(1)


class Wrong(Exception):
    """The print is not what the font says; the text says where."""


def read_pbm(path):
    """Rows of a raw PBM as lists of 0 and 1."""
    with open(path, "rb") as file:
        magic, size, rows = file.read().split(b"\n", 2)
    if magic != b"P4":
        raise Wrong(f"{path}: not a raw PBM")
    width, height = map(int, size.split())
    stride = (width + 7) // 8
    return [[rows[y * stride + x // 8] >> (7 - x % 8) & 1 for x in range(width)] for y in range(height)]


def upright(lines, turn):
    """The picture as one reads it: rows from the top, columns from the left."""
    if turn == "along":
        # Line 0 is leftmost, dot 0 at the bottom.
        return [[line[dot] for line in lines] for dot in reversed(range(len(lines[0])))]
    # Reads from dot 0 up; the top is towards the first line: rows are the lines.
    return lines


def ink_box(picture):
    """Left, top, right, bottom of the ink; right and bottom are one past."""
    rows = [y for y, row in enumerate(picture) if any(row)]
    columns = [x for x in range(len(picture[0])) if any(row[x] for row in picture)]
    if not rows:
        raise Wrong("the strip has no ink")
    return columns[0], rows[0], columns[-1] + 1, rows[-1] + 1


def outline(face, letter):
    """Box of a letter's outline and its advance, in font units."""
    if not face.get_char_index(letter):
        raise Wrong(f"the font has no {letter!r}")
    face.load_char(letter, freetype.FT_LOAD_NO_SCALE)
    box = face.glyph.outline.get_bbox()
    return box, face.glyph.advance.x


def check_size(face, picture, text, cap, ratio):
    capital = outline(face, "H")[0]
    scale = cap / (capital.yMax - capital.yMin)
    boxes = [outline(face, letter) for letter in text]
    inked = [box for box, _ in boxes if box.yMax > box.yMin]
    height = (max(box.yMax for box in inked) - min(box.yMin for box in inked)) * scale
    start = sum(advance for _, advance in boxes[:-1])
    width = (start + boxes[-1][0].xMax - boxes[0][0].xMin) * scale * ratio
    left, top, right, bottom = ink_box(picture)
    for name, found, wanted, most in [("high", bottom - top, height, 1), ("wide", right - left, width, 1.5 + len(text) / 2)]:
        if abs(found - wanted) > most:
            raise Wrong(f"`{text}` at a cap height of {cap} dots is {found} dots {name}, wanted {wanted:.2f}")
    return height, width


def check_letter(face, picture, letter, cap, ratio):
    capital = outline(face, "H")[0]
    size = cap / (capital.yMax - capital.yMin) * face.units_per_EM
    # Sizes in 26.6 fixed point at 72 dpi: one point is one dot.
    face.set_char_size(round(size * ratio * 64), round(size * 64), 72, 72)
    face.load_char(letter, freetype.FT_LOAD_NO_HINTING | freetype.FT_LOAD_NO_BITMAP | freetype.FT_LOAD_RENDER)
    bitmap = face.glyph.bitmap
    covered = {
        (x, y): bitmap.buffer[y * bitmap.pitch + x] / 255
        for y in range(bitmap.rows)
        for x in range(bitmap.width)
    }
    wanted = {place for place, part in covered.items() if part >= 0.5}
    left, top = min(x for x, _ in wanted), min(y for _, y in wanted)
    at_left, at_top, _, _ = ink_box(picture)
    ink = {(x - at_left + left, y - at_top + top) for y, row in enumerate(picture) for x, dot in enumerate(row) if dot}
    # Where the letter stands on the strip is not judged, and its box may be a dot larger.
    shifts = [(across, down) for across in (0, -1, 1) for down in (0, -1, 1)]
    moved = min(({(x + across, y + down) for x, y in ink} for across, down in shifts), key=lambda dots: len(dots ^ wanted))
    for name, ours, theirs in [("ours", moved, wanted), ("FreeType's", wanted, moved)]:
        far = [place for place in ours if not around(*place, theirs)]
        if far:
            raise Wrong(f"`{letter}` at {cap} dots: {len(far)} dots of {name} touch none of the other, first {min(far)}")
    counts = [(pieces(dots, 8), pieces(blank(dots), 4) - 1) for dots in (moved, wanted)]
    if counts[0] != counts[1]:
        raise Wrong(f"`{letter}` at {cap} dots: pieces and holes {counts[0]}, wanted FreeType's {counts[1]}")
    return len(moved ^ wanted), len(wanted)


def around(x, y, dots):
    return any((x + across, y + down) in dots for across in (-1, 0, 1) for down in (-1, 0, 1))


def blank(dots):
    """The dots without ink, one around the ink too."""
    columns, rows = [x for x, _ in dots], [y for _, y in dots]
    box = [(x, y) for x in range(min(columns) - 1, max(columns) + 2) for y in range(min(rows) - 1, max(rows) + 2)]
    return set(box) - dots


def pieces(dots, neighbours):
    """How many pieces dots make that touch by 4 or by 8 neighbours."""
    left, count = set(dots), 0
    while left:
        count += 1
        ahead = [left.pop()]
        while ahead:
            x, y = ahead.pop()
            near = [(x + a, y + b) for a in (-1, 0, 1) for b in (-1, 0, 1) if neighbours == 8 or not a or not b]
            for place in near:
                if place in left:
                    left.remove(place)
                    ahead.append(place)
    return count


def main():
    parser = argparse.ArgumentParser(usage=__doc__.split("\n\n")[1].removeprefix("usage: "))
    parser.add_argument("font")
    parser.add_argument("strip")
    parser.add_argument("text")
    parser.add_argument("cap", type=int)
    parser.add_argument("ratio", type=float)
    parser.add_argument("--turn", choices=["along", "up"], default="along")
    parser.add_argument("--lines", type=int, nargs=2)
    given = parser.parse_args()
    try:
        face = freetype.Face(given.font)
        lines = read_pbm(given.strip)
        lines = lines[slice(*given.lines)] if given.lines else lines
        picture = upright(lines, given.turn)
        height, width = check_size(face, picture, given.text, given.cap, given.ratio)
        said = f"{height:.2f} x {width:.2f} dots"
        if len(given.text) == 1:
            differ, of = check_letter(face, picture, given.text, given.cap, given.ratio)
            said += f", {differ} of {of} dots differ"
        print(said)
    except (Wrong, OSError) as error:
        print(f"font_metrics: {error}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
