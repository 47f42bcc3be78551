"""Draws shaped lines with HarfBuzz and FreeType, and compares the ink with a drawing of ours.

    shaped_ink.py RUNS.json PAGE.pbm LINE CAP LEFT BASELINE LEAST

RUNS.json as shaping.py has it; of its glyphs nothing is used but the runs' order and letters. PAGE.pbm
shows line number LINE of it, CAP dots of cap height, the pen from dot LEFT on the baseline that is
BASELINE rows above the bottom. The ink of both, dot on dot, must overlap by LEAST (intersection
over union). Needs uharfbuzz and freetype-py (PyPI).

Source: glyph positions of HarfBuzz, outlines filled by FreeType without hinting.
"""

import json
import sys

import freetype
import uharfbuzz as hb

WORD_GAP = 0.55


def pbm(path):
    data = open(path, "rb").read()
    header, bits = data.split(b"\n", 1)
    width, height = map(int, header.split()[1:])
    row = (width + 7) // 8
    return {(x, y) for y in range(height) for x in range(width) if bits[y * row + x // 8] >> (7 - x % 8) & 1}, height


def main():
    path, page, line, cap, left, baseline, least = sys.argv[1:]
    given = json.load(open(path, encoding="utf-8"))
    line, cap, pen, baseline = given["lines"][int(line)], int(cap), float(left), int(baseline)
    ours, height = pbm(page)
    theirs = set()
    for run in line["runs"]:
        face = given["faces"][run["face"]]
        font = hb.Font(hb.Face(hb.Blob.from_file_path(face["file"]), face["index"]))
        ft = freetype.Face(face["file"], face["index"])
        units = ft.units_per_EM
        scale = cap / face["cap_units"]
        ft.set_char_size(int(scale * units * 64 + 0.5))
        buffer = hb.Buffer()
        buffer.add_codepoints([point for _, point in run["letters"]])
        buffer.direction = "rtl" if run["leftwards"] else "ltr"
        buffer.script = run["script"]
        hb.shape(font, buffer, {name: False for name in run["without"]})
        space = font.get_nominal_glyph(ord(" "))
        for info, position in zip(buffer.glyph_infos, buffer.glyph_positions):
            ft.load_glyph(info.codepoint, freetype.FT_LOAD_NO_HINTING | freetype.FT_LOAD_NO_BITMAP)
            x, y = pen + position.x_offset * scale, position.y_offset * scale
            x, y = int(x + 0.5), int(y + 0.5)
            ft.glyph.render(freetype.FT_RENDER_MODE_MONO)
            bitmap = ft.glyph.bitmap
            for row in range(bitmap.rows):
                for column in range(bitmap.width):
                    if bitmap.buffer[row * bitmap.pitch + column // 8] >> (7 - column % 8) & 1:
                        theirs.add((x + ft.glyph.bitmap_left + column, height - baseline - y - ft.glyph.bitmap_top + row))
            advance = position.x_advance * scale
            pen += max(advance, WORD_GAP * cap) if info.codepoint == space and advance > 0 else advance
    share = len(ours & theirs) / max(1, len(ours | theirs))
    if share < float(least) or len(ours) < 100:
        sys.exit(f"shaped_ink: `{line['text']}`: {share:.3f} of the ink overlaps, wanted {least}; {len(ours)} dots of ours")
    print(f"{share:.3f}")


main()
