"""Shapes runs of text with HarfBuzz and compares glyphs, advances and offsets.

    shaping.py RUNS.json [--letters-as-text] [--keep-ligatures]

RUNS.json: {"faces": [{"file": path, "index": n}], "lines": [{"text": s, "runs": [{"face": n,
"script": "Latn", "leftwards": bool, "without": ["liga"], "range": [from, to], "letters": [[byte,
code point]], "glyphs": [{"glyph": n, "advance": x, "right": x, "up": x, "at": n}]}]}]}, lengths in
cap heights, glyphs left to right. A blank between words may be wider than the face's own: at least
0.55 cap heights. Needs uharfbuzz (PyPI).

Source: HarfBuzz, hb_shape() with the same font file, script, direction and features; the cap
height is that of the outline of H.
"""

import json
import sys

import uharfbuzz as hb

WORD_GAP = 0.55


def shaped(font, line, run, options):
    data = line["text"].encode()
    start, end = run["range"]
    buffer = hb.Buffer()
    letters = run["letters"]
    if "--letters-as-text" in options:  # without what stands for other characters: must differ where it does
        text = data[start:end].decode()
        letters, at = [], start
        for c in text:
            letters.append([at, ord(c)])
            at += len(c.encode())
    before = [ord(c) for c in data[:start].decode()]
    after = [ord(c) for c in data[end:].decode()]
    points = before + [point for _, point in letters] + after
    buffer.add_codepoints(points, len(before), len(letters))
    buffer.direction = "rtl" if run["leftwards"] else "ltr"
    buffer.script = run["script"]
    off = [] if "--keep-ligatures" in options else run["without"]
    hb.shape(font, buffer, {name: False for name in off})
    return [
        (info.codepoint, position.x_advance, position.x_offset, position.y_offset,
         letters[info.cluster - len(before)][0])
        for info, position in zip(buffer.glyph_infos, buffer.glyph_positions)
    ]


def main():
    path, options = sys.argv[1], sys.argv[2:]
    given = json.load(open(path, encoding="utf-8"))
    faces = []
    for face in given["faces"]:
        font = hb.Font(hb.Face(hb.Blob.from_file_path(face["file"]), face["index"]))
        high = font.get_glyph_extents(font.get_nominal_glyph(ord("H")) or 0)
        cap = abs(high.height) if font.get_nominal_glyph(ord("H")) else face["cap_units"]
        faces.append((font, cap, font.get_nominal_glyph(ord(" "))))
    count = 0
    for line in given["lines"]:
        for run in line["runs"]:
            font, cap, space = faces[run["face"]]
            theirs = shaped(font, line, run, options)
            ours = run["glyphs"]
            where = f"`{line['text']}` in {run['script']} at {run['range'][0]}"
            if [g["glyph"] for g in ours] != [g[0] for g in theirs]:
                sys.exit(f"shaping: {where}: glyphs {[g['glyph'] for g in ours]}, HarfBuzz has {[g[0] for g in theirs]}")
            for mine, (glyph, advance, right, up, at) in zip(ours, theirs):
                if glyph == space and advance > 0:  # no width: a joiner, not a blank
                    advance = max(advance, WORD_GAP * cap)
                for name, is_, wanted in [("advance", mine["advance"] * cap, advance), ("right", mine["right"] * cap, right),
                                          ("up", mine["up"] * cap, up), ("at", mine["at"], at)]:
                    if abs(is_ - wanted) > 1e-3:
                        sys.exit(f"shaping: {where}: glyph {glyph}: {name} {is_}, HarfBuzz has {wanted}")
                count += 1
    print(f"{count} glyphs equal")


main()
