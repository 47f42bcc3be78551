#!/usr/bin/env python3
"""Compare a PWG Raster stream with raw PBM files, through a reader that is not ours.

usage: pwg_libcups.py STREAM.pwg PBM_DIR

PBM_DIR holds one raw PBM (P4) for each page, strip-0001.pbm and so on, as `tapewright readback
--pbm` writes them: one PBM row for each head line, 1 = ink. The stream is

 1. decoded by libcupsimage, and each page compared with its PBM, bit for bit;
 2. walked byte by byte here, because libcupsimage corrects runs past the end of a line and line
    repeats past the end of a page without a word.

Sources: PWG 5102.4-2012, header layout and run lengths, from memory; the layout of
cups_page_header2_t, from memory of <cups/raster.h> (libcups 2.4); that libcupsimage clips
silently: seen with 2.4.2.

Exit status: 0 equal, 1 different or not in order (one sentence on stderr), 2 wrong usage.
"""

import ctypes
import os
import struct
import sys

SYNC = b"RaS2"
HEADER = 1796
KEYWORD = b"PwgRaster".ljust(64, b"\0")

# Offsets in the page header.
CUT_MEDIA, HW_RESOLUTION, PAGE_SIZE = 268, 276, 352
WIDTH, HEIGHT = 372, 376
VENDOR_LENGTH, VENDOR_DATA, VENDOR_ROOM = 512, 516, 1088

# Byte ranges the standard reserves: first, and one past the last.
RESERVED = [
    (256, 268), (284, 300), (312, 324), (332, 340), (348, 352), (360, 368),
    (380, 384), (404, 420), (424, 452), (488, 508), (1604, 1668),
]

# What a black page of ours says, by offset.
FIXED = {
    "Duplex": (272, 0), "Tumble": (368, 0), "BitsPerColor": (384, 1), "BitsPerPixel": (388, 1),
    "ColorOrder": (396, 0), "ColorSpace": (400, 3), "NumColors": (420, 1),
    "CrossFeedTransform": (456, 1), "FeedTransform": (460, 1),
    "ImageBoxLeft": (464, 0), "ImageBoxTop": (468, 0),
}


class Wrong(Exception):
    """The stream is not what it should be; the text says where."""


def number(header, at):
    return struct.unpack_from(">I", header, at)[0]


# -- Our own walk -------------------------------------------------------------------------------


def check_header(header, page, offset):
    def wrong(at, text):
        raise Wrong(f"page {page}, byte {offset + at}: {text}")

    if header[:64] != KEYWORD:
        wrong(0, f"header begins with {header[:12]!r}, wanted PwgRaster and zeros")
    for first, end in RESERVED:
        if any(header[first:end]):
            wrong(first, f"reserved bytes are {header[first:end].hex()}, wanted zeros")
    for name, (at, wanted) in FIXED.items():
        if number(header, at) != wanted:
            wrong(at, f"{name} is {number(header, at)}, wanted {wanted}")
    for name, at in (("MediaColor", 64), ("MediaType", 128), ("PrintContentOptimize", 192),
                     ("RenderingIntent", 1668), ("PageSizeName", 1732)):
        field = header[at:at + 64]
        if b"\0" not in field:
            wrong(at, f"{name} has no NUL in its 64 bytes")
        try:
            field[:field.index(b"\0")].decode("utf-8")
        except UnicodeDecodeError:
            wrong(at, f"{name} is not UTF-8")
    width, height = number(header, WIDTH), number(header, HEIGHT)
    if width == 0 or height == 0:
        wrong(WIDTH, f"page is {width} by {height}, wanted at least 1 by 1")
    if number(header, 392) != (width + 7) // 8:
        wrong(392, f"BytesPerLine is {number(header, 392)}, wanted {(width + 7) // 8} for {width} dots")
    if (number(header, 472), number(header, 476)) != (width, height):
        wrong(472, f"ImageBox ends at {number(header, 472)},{number(header, 476)}, wanted {width},{height}")
    if number(header, CUT_MEDIA) not in (0, 4):
        wrong(CUT_MEDIA, f"CutMedia is {number(header, CUT_MEDIA)}, wanted 0 (never) or 4 (after page)")
    for axis, dots in ((0, width), (1, height)):
        dpi = number(header, HW_RESOLUTION + 4 * axis)
        points = number(header, PAGE_SIZE + 4 * axis)
        if dpi == 0:
            wrong(HW_RESOLUTION + 4 * axis, "HWResolution is 0, wanted at least 1")
        # The header rounds the resolution to whole dots per inch: half a dot in `dpi`, and one
        # point for rounding the size.
        exact = dots * 72 / dpi
        if abs(points - exact) > 1 + exact / (2 * dpi):
            wrong(PAGE_SIZE + 4 * axis, f"PageSize is {points} points, wanted about {exact:.1f} for {dots} dots at {dpi} dpi")
    used = number(header, VENDOR_LENGTH)
    if used > VENDOR_ROOM:
        wrong(VENDOR_LENGTH, f"VendorLength is {used}, wanted at most {VENDOR_ROOM}")
    if any(header[VENDOR_DATA + used:VENDOR_DATA + VENDOR_ROOM]):
        wrong(VENDOR_DATA + used, "bytes after the vendor data, wanted zeros")
    return width, height


def unpack_page(data, at, width, height, page):
    """Rows of a page, and where the next one begins."""
    line_bytes = (width + 7) // 8
    spare = (1 << (-width % 8)) - 1
    rows, lines = bytearray(), 0

    def wrong(text):
        raise Wrong(f"page {page}, line {lines}, byte {at}: {text}")

    def need(count):
        if at + count > len(data):
            wrong(f"the stream ends {at + count - len(data)} bytes too early")

    while lines < height:
        need(1)
        repeat = data[at] + 1
        if lines + repeat > height:
            wrong(f"group of {repeat} lines, wanted at most the {height - lines} left")
        at += 1
        line = bytearray()
        while len(line) < line_bytes:
            need(2)
            code = data[at]
            if code == 128:
                wrong("code 128, wanted a run or literal")
            if code < 128:
                line += data[at + 1:at + 2] * (code + 1)
                step = 2
            else:
                need(1 + 257 - code)
                line += data[at + 1:at + 1 + 257 - code]
                step = 1 + 257 - code
            if len(line) > line_bytes:
                wrong(f"{len(line)} bytes in the line, wanted {line_bytes}")
            at += step
        if line[-1] & spare:
            wrong(f"bits beyond the {width} dots are {line[-1] & spare:#04x}, wanted 0")
        rows += line * repeat
        lines += repeat
    return bytes(rows), at


def walk(data):
    """Pages of the stream as (width, height, rows)."""
    if data[:4] != SYNC:
        raise Wrong(f"the stream begins with {data[:4]!r}, wanted {SYNC!r}")
    at, pages, totals = 4, [], set()
    while at < len(data):
        page = len(pages) + 1
        header = data[at:at + HEADER]
        if len(header) < HEADER:
            raise Wrong(f"page {page}, byte {at}: {len(header)} bytes are left, wanted a header of {HEADER}")
        width, height = check_header(header, page, at)
        totals.add(number(header, 452))
        rows, at = unpack_page(data, at + HEADER, width, height, page)
        pages.append((width, height, rows))
    if not pages:
        raise Wrong("the stream has no page")
    if totals not in ({0}, {len(pages)}):
        raise Wrong(f"TotalPageCount is {sorted(totals)}, wanted 0 or {len(pages)} on every page")
    return pages


# -- libcupsimage -------------------------------------------------------------------------------


def libcups():
    try:
        library = ctypes.CDLL("libcupsimage.so.2")
    except OSError as error:
        raise Wrong(f"libcupsimage.so.2 cannot be loaded ({error}): install the Debian package libcupsimage2")
    library.cupsRasterOpen.restype = ctypes.c_void_p
    library.cupsRasterOpen.argtypes = [ctypes.c_int, ctypes.c_int]
    library.cupsRasterReadHeader2.restype = ctypes.c_uint
    library.cupsRasterReadHeader2.argtypes = [ctypes.c_void_p, ctypes.c_char_p]
    library.cupsRasterReadPixels.restype = ctypes.c_uint
    library.cupsRasterReadPixels.argtypes = [ctypes.c_void_p, ctypes.c_char_p, ctypes.c_uint]
    library.cupsRasterClose.restype = None
    library.cupsRasterClose.argtypes = [ctypes.c_void_p]
    return library


def decode(path):
    """Pages of the stream as libcupsimage sees them."""
    library = libcups()
    file = os.open(path, os.O_RDONLY)
    raster = None
    try:
        raster = library.cupsRasterOpen(file, 0)  # 0: CUPS_RASTER_READ
        if not raster:
            raise Wrong("libcupsimage does not open the stream as a raster")
        pages = []
        header = ctypes.create_string_buffer(HEADER)
        while library.cupsRasterReadHeader2(raster, header):
            # libcupsimage gives numbers in the order of this machine.
            native = lambda at: struct.unpack_from("=I", header, at)[0]
            width, height, line_bytes = native(WIDTH), native(HEIGHT), native(392)
            line = ctypes.create_string_buffer(line_bytes)
            rows = bytearray()
            for y in range(height):
                read = library.cupsRasterReadPixels(raster, line, line_bytes)
                if read != line_bytes:
                    raise Wrong(f"libcupsimage reads {read} bytes at line {y} of page {len(pages) + 1}, wanted {line_bytes}")
                rows += line.raw
            pages.append((width, height, bytes(rows)))
        return pages
    finally:
        if raster:
            library.cupsRasterClose(raster)
        os.close(file)


# -- PBM ----------------------------------------------------------------------------------------


def read_pbm(path):
    """A raw PBM: width, height, rows (netpbm, pbm(5), from memory)."""
    with open(path, "rb") as file:
        data = file.read()
    if data[:2] != b"P4":
        raise Wrong(f"{path}: begins with {data[:2]!r}, wanted a raw PBM (P4)")
    at, values = 2, []
    while len(values) < 2:
        start = at
        while data[at:at + 1].isspace():
            at += 1
        if data[at:at + 1] == b"#":
            while at < len(data) and data[at:at + 1] != b"\n":
                at += 1
            continue
        end = at
        while data[end:end + 1].isdigit():
            end += 1
        if end == at or at == start:
            raise Wrong(f"{path}: byte {at}: wanted a width and a height")
        values.append(int(data[at:end]))
        at = end
    width, height = values
    rows = data[at + 1:]
    if len(rows) != (width + 7) // 8 * height:
        raise Wrong(f"{path}: {len(rows)} bytes of rows, wanted {(width + 7) // 8 * height} for {width}x{height}")
    return width, height, rows


def compare(found, wanted, who, page, name):
    if found[:2] != wanted[:2]:
        raise Wrong(f"page {page}: {who} reads {found[0]}x{found[1]} dots, {name} has {wanted[0]}x{wanted[1]}")
    if found[2] != wanted[2]:
        line_bytes = (found[0] + 7) // 8
        at = next(i for i, (a, b) in enumerate(zip(found[2], wanted[2])) if a != b)
        raise Wrong(f"page {page}: {who} and {name} differ first in line {at // line_bytes}, byte {at % line_bytes}: "
                    f"{found[2][at]:#04x} and {wanted[2][at]:#04x}")


def check(stream, folder):
    with open(stream, "rb") as file:
        data = file.read()
    walked = walk(data)
    decoded = decode(stream)
    names = [name for name in os.listdir(folder) if name.startswith("strip-") and name.endswith(".pbm")]
    names.sort(key=lambda name: (len(name), name))  # strip-10000 after strip-9999
    expected_names = [f"strip-{page:04}.pbm" for page in range(1, len(walked) + 1)]
    if names != expected_names:
        raise Wrong(f"{folder} holds {len(names)} files {names[:1]} ..., wanted {len(walked)} as the stream has pages: {expected_names[:1]} ...")
    if len(decoded) != len(walked):
        raise Wrong(f"libcupsimage reads {len(decoded)} pages, wanted {len(walked)}")
    for page, name in enumerate(names, 1):
        wanted = read_pbm(os.path.join(folder, name))
        compare(walked[page - 1], wanted, "this script", page, name)
        compare(decoded[page - 1], wanted, "libcupsimage", page, name)
    ink = sum(bin(int.from_bytes(rows, "big")).count("1") for _, _, rows in decoded)
    print(f"{len(decoded)} pages equal, {ink} dots of ink")


def main(arguments):
    if len(arguments) != 3:
        print("usage: pwg_libcups.py STREAM.pwg PBM_DIR", file=sys.stderr)
        return 2
    try:
        check(arguments[1], arguments[2])
    except (Wrong, OSError) as error:
        print(f"pwg_libcups: {error}", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv))
