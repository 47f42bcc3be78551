"""Writes a TrueType font again with CFF outlines.

    cff_font.py FROM.ttf TO.otf

Curves are turned within half a font unit. All other tables stay. Needs fontTools (PyPI).
"""

import sys

from fontTools.fontBuilder import FontBuilder
from fontTools.pens.qu2cuPen import Qu2CuPen
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.pens.t2CharStringPen import T2CharStringPen
from fontTools.ttLib import TTFont


def main(source, target):
    font = TTFont(source)
    glyphs = font.getGlyphSet()
    outlines = {}
    for name in font.getGlyphOrder():
        record = DecomposingRecordingPen(glyphs)
        glyphs[name].draw(record)
        pen = T2CharStringPen(glyphs[name].width, glyphs)
        record.replay(Qu2CuPen(pen, 0.5, all_cubic=True))
        outlines[name] = pen.getCharString()
    for table in ["glyf", "loca", "prep", "fpgm", "cvt ", "gasp"]:
        if table in font:
            del font[table]
    font.sfntVersion = "OTTO"
    font["maxp"].tableVersion = 0x00005000
    FontBuilder(font=font).setupCFF("Outlines", {}, outlines, {})
    font.save(target)
    print(f"{len(outlines)} glyphs")


main(*sys.argv[1:])
