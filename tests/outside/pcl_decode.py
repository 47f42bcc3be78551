#!/usr/bin/env python3
"""Decode PCL raster graphics and compare the pages with raw PBM files.

usage: pcl_decode.py STREAM.pcl PBM_DIR

PBM_DIR holds one raw PBM (P4) for each page, strip-0001.pbm and so on, as `tapewright readback
--pbm` writes them; 1 = ink. Where the stream says width and height of the raster, they must be
those of the PBM; where it does not, what the raster leaves out of the PBM must be white. A page
length in lines must be that of the raster, to a row.

Shares nothing with the driver module. The tests hold it on streams of Ghostscript and Netpbm
first, whose pages are known from another output of the same tools.

Sources: PCL 5 Printer Language Technical Reference Manual, chapters "Page Control" and "Raster
Graphics", from memory.

Exit status: 0 equal, 1 different or not in order (one sentence on stderr), 2 wrong usage.
"""

import collections
import fractions
import os
import re
import sys

EXIT = b"\x1b%-12345X"
COMMAND = re.compile(rb"([-+]?)(\d*)(\.\d*)?([@-^`-~])")
# Commands that only say where on the paper a page lies, and those that say what we check for:
# one copy, portrait.
PLACING = {"&lA", "&lE", "&lF", "&lL", "&lU", "&lZ", "&lH", "&lS", "&uD", "*rF"}
FIXED = {"&lO": 0, "&lX": 1}


class Wrong(Exception):
    """The stream is not what it should be; the text says where."""


def tokens(data):
    """Yields (offset, name, sign, number, bytes of a row): ("*bW", "", 12, b"...") and so on."""
    at = 0
    while at < len(data):
        start, byte = at, data[at]
        if data.startswith(EXIT, at):
            yield start, "exit", "", 0, b""
            at += len(EXIT)
        elif data.startswith(b"\x1bE", at):
            yield start, "reset", "", 0, b""
            at += 2
        elif byte == 0x0C:
            yield start, "feed", "", 0, b""
            at += 1
        elif byte == 0x00:
            at += 1
        elif byte == 0x1B:
            group = data[at + 1:at + 3].decode("latin-1")
            if not re.fullmatch(r"[&*(][a-z]", group):
                raise Wrong(f"byte {start}: ESC {group!r}, wanted a group of commands")
            at += 3
            while True:
                found = COMMAND.match(data, at)
                if not found:
                    raise Wrong(f"byte {at}: {data[at:at + 8]!r}, wanted a number and a letter")
                sign, whole, part, letter = (item.decode() if item else "" for item in found.groups())
                number = fractions.Fraction((whole or "0") + (part if len(part) > 1 else ""))
                name, where, at = group + letter.upper(), at, found.end()
                row = b""
                if name == "*bW":
                    row = data[at:at + int(number)]
                    if len(row) != number:
                        raise Wrong(f"byte {where}: row of {number} bytes, found {len(row)}")
                    at += len(row)
                yield where, name, sign, number, row
                if letter.isupper() or letter in "@[\\]^":
                    break
        else:
            raise Wrong(f"byte {start}: {data[at:at + 8]!r}, wanted a command")


def unpacked(row):
    """PackBits."""
    out, rest = bytearray(), iter(row)
    for code in rest:
        if code < 128:
            literal = bytes(byte for _, byte in zip(range(code + 1), rest))
            if len(literal) != code + 1:
                raise ValueError("the row ends inside a literal")
            out += literal
        elif code > 128:
            byte = next(rest, None)
            if byte is None:
                raise ValueError("the row ends inside a run")
            out += bytes([byte]) * (257 - code)
    return bytes(out)


def patched(seed, row):
    """Replacements in the row before."""
    out, place, at = bytearray(seed), 0, 0
    try:
        while at < len(row):
            count, skip = row[at] // 32 + 1, row[at] % 32
            at, place = at + 1, place + skip
            while skip in (31, 255):
                # After the first, only 255 goes on.
                skip = row[at]
                at, place = at + 1, place + skip
                if skip == 31:
                    break
            if at + count > len(row):
                raise IndexError
            out.extend(bytes(max(0, place + count - len(out))))
            out[place:place + count] = row[at:at + count]
            at, place = at + count, place + count
    except IndexError:
        raise ValueError("the row ends inside a replacement") from None
    return bytes(out)


class Page:
    def __init__(self, width, height, first):
        self.width, self.height, self.first = width, height, first
        self.rows, self.seed, self.open = [], b"", True


def pages(data):
    """The pages of a stream: rows of any length, what is missing at their ends is white."""
    found, page, count = [], None, collections.Counter()
    fresh = dict(dpi=75, mode=0, width=None, height=None, spacing=fractions.Fraction(8), lines=None, y=0)
    now, last = dict(fresh), None
    for at, name, sign, number, row in tokens(data):
        def wrong(text):
            return Wrong(f"byte {at}, page {len(found) + 1}: {text}")

        last = name
        inside = page is not None and page.open
        if inside and not name.startswith("*b") and name not in ("*rB", "*rC"):
            raise wrong(f"{name} inside a raster")
        if name in ("feed", "reset"):
            if page is not None:
                if page.height is not None and len(page.rows) != page.height:
                    raise wrong(f"{len(page.rows)} rows, wanted {page.height}")
                found.append(page)
                page = None
            now["y"] = 0
            if name == "reset":
                now = dict(fresh)
        elif name == "exit":
            if page is not None:
                raise wrong("the exit before the end of the page")
        elif name == "*tR":
            now["dpi"] = int(number)
        elif name == "*rS":
            now["width"] = int(number)
        elif name == "*rT":
            now["height"] = int(number)
        elif name == "&lC":
            now["spacing"] = number
        elif name == "&lP":
            now["lines"] = int(number)
        elif name in ("*pX", "*pY"):
            # Cursor moves count dots, as Ghostscript writes them.
            if name == "*pX" and (sign or number):
                raise wrong(f"cursor {sign}{number} to the right, wanted 0")
            if sign == "-" or page is not None:
                raise wrong("cursor moves back, or after the raster")
            now["y"] = int(number) + (now["y"] if sign else 0)
        elif name == "*rA":
            if page is not None or number not in (0, 1):
                raise wrong(f"start {number} of a raster, wanted 0 or 1, once a page")
            if now["lines"] is not None:
                length = now["lines"] * now["spacing"] * now["dpi"] / 48
                if length != now["height"]:
                    raise wrong(f"page of {length} rows, wanted {now['height']}")
            page = Page(now["width"], now["height"], now["y"])
        elif name in ("*rB", "*rC"):
            if page is not None:
                page.open = False
        elif name == "*bM":
            now["mode"] = int(number)
        elif name == "*bY":
            if not inside or sign:
                raise wrong("rows skipped outside a raster")
            page.rows += [b""] * int(number)
            page.seed = b""
        elif name == "*bW":
            if not inside:
                raise wrong("row outside a raster")
            count[now["mode"]] += 1
            try:
                if now["mode"] == 0:
                    page.seed = row
                elif now["mode"] == 2:
                    page.seed = unpacked(row)
                elif now["mode"] == 3:
                    page.seed = patched(page.seed, row)
                else:
                    raise ValueError(f"compression {now['mode']}, wanted 0, 2 or 3")
            except ValueError as error:
                raise wrong(f"row {len(page.rows)}: {error}") from None
            page.rows.append(page.seed)
        elif name in FIXED:
            if number != FIXED[name]:
                raise wrong(f"{name} {number}, wanted {FIXED[name]}")
        elif name not in PLACING:
            raise wrong(f"command {name}, wanted one of raster graphics")
    if page is not None:
        raise Wrong("the stream ends inside a page")
    if last not in ("reset", "exit") or data.startswith(EXIT) and last != "exit":
        raise Wrong("the stream ends without a reset, or without the exit it began with")
    return found, count


def pbm(path):
    with open(path, "rb") as file:
        data = file.read()
    head = re.match(rb"P4\s+(?:#.*\n)*(\d+)\s+(\d+)\s", data)
    if not head:
        raise Wrong(f"{path} is no raw PBM")
    width, height = int(head[1]), int(head[2])
    line = (width + 7) // 8
    body = data[head.end():]
    if len(body) != line * height:
        raise Wrong(f"{path} has {len(body)} bytes of rows, wanted {line * height}")
    return width, height, [body[y * line:(y + 1) * line] for y in range(height)]


def compare(page, number, path):
    width, height, wanted = pbm(path)
    for said, real, what in ((page.width, width, "dots wide"), (page.height, height, "rows high")):
        if said is not None and said != real:
            raise Wrong(f"page {number} is {said} {what}, {path} {real}")
    rows = [b""] * page.first + page.rows
    if any(any(row) for row in rows[height:]):
        raise Wrong(f"page {number} has ink below the {height} rows of {path}")
    line = (width + 7) // 8
    for y, want in enumerate(wanted):
        row = rows[y] if y < len(rows) else b""
        if page.width is not None and len(row) > line:
            raise Wrong(f"page {number}, row {y}: {len(row)} bytes, wanted at most {line}")
        if any(row[line:]) or row[:line].ljust(line, b"\0") != want:
            raise Wrong(f"page {number} and {path} differ first in row {y}")


def main():
    if len(sys.argv) != 3:
        print(__doc__, file=sys.stderr)
        return 2
    stream, folder = sys.argv[1:]
    try:
        with open(stream, "rb") as file:
            found, count = pages(file.read())
        files = sorted(name for name in os.listdir(folder) if name.endswith(".pbm"))
        if len(files) != len(found):
            raise Wrong(f"{folder} has {len(files)} files, wanted as many as the stream has pages: {len(found)}")
        for number, (page, name) in enumerate(zip(found, files), 1):
            compare(page, number, os.path.join(folder, name))
    except Wrong as wrong:
        print(f"pcl_decode: {wrong}", file=sys.stderr)
        return 1
    rows = ", ".join(f"{count[mode]} in compression {mode}" for mode in sorted(count))
    print(f"{len(found)} pages equal, rows: {rows or 'none'}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
