"""Reads codes from pictures of head lines with decoders that are not ours.

codes_read.py clean LIST     every picture must be read by every reader that knows its kind
codes_read.py camera LIST [FOLDER]
                             prints how many a camera would read, by kind, dots a module, pixels a
                             millimetre and degrees; one picture of each is kept in the folder
codes_read.py strip KIND PBM prints what every code of a whole strip says, a line a code

LIST has a line a picture: kind, dots a module, dots an inch, the PBM's path, the content as hex of
its UTF-8. The PBM is what readback writes: a row a head line, dot 0 first; 1 is ink.

Readers: zxing-cpp for all kinds, zbar for qr and code-128, libdmtx for data-matrix.
"""

import itertools
import sys

try:
    import numpy
    import zxingcpp
    from PIL import Image, ImageFilter
except ImportError as error:
    sys.exit(f"{error}: install the packages of tests/outside/requirements.txt")
try:
    from pyzbar import pyzbar
except ImportError as error:
    sys.exit(f"{error}: install pyzbar (PyPI) and libzbar0 (Debian)")
try:
    from pylibdmtx import pylibdmtx
except ImportError as error:
    sys.exit(f"{error}: install pylibdmtx and setuptools (PyPI) and libdmtx0b or libdmtx0t64 (Debian)")

FORMATS = {
    "code-128": zxingcpp.BarcodeFormat.Code128,
    "qr": zxingcpp.BarcodeFormat.QRCode,
    "micro-qr": zxingcpp.BarcodeFormat.MicroQRCode,
    "rmqr": zxingcpp.BarcodeFormat.RMQRCode,
    "data-matrix": zxingcpp.BarcodeFormat.DataMatrix,
}
ZBAR = {"code-128": pyzbar.ZBarSymbol.CODE128, "qr": pyzbar.ZBarSymbol.QRCODE}

# The camera: pixels a millimetre at arm's length, and held close for the one kind that wants it;
# focus, noise and light are guesses, the same for all kinds.
PIXELS = {"rmqr": [12, 24]}
BLUR = 1.0
NOISE = 10.0
DARK, LIGHT = 45.0, 205.0
ANGLES = [1.0, 8.0]


def seen(path):
    """The picture as one sees it, 255 is blank: lines are columns, dot 0 is at the bottom."""
    with open(path, "rb") as file:
        data = file.read()
    magic, wide, high = data.split(maxsplit=3)[:3]
    if magic != b"P4":
        sys.exit(f"{path}: found {magic!r}, wanted a raw PBM")
    wide, high = int(wide), int(high)
    # From the end: the rows themselves may begin with what looks like white space.
    bits = data[-high * ((wide + 7) // 8) :]
    rows = numpy.unpackbits(numpy.frombuffer(bits, numpy.uint8).reshape(high, -1), axis=1)[:, :wide]
    return numpy.ascontiguousarray(((1 - rows.T[::-1]) * 255).astype(numpy.uint8))


def zxing(kind, picture):
    found = zxingcpp.read_barcodes(picture, formats=FORMATS[kind], text_mode=zxingcpp.TextMode.Plain)
    return found[0].bytes if found else None


def zbar(kind, picture):
    found = pyzbar.decode(Image.fromarray(picture), symbols=[ZBAR[kind]])
    return found[0].data if found else None


def dmtx(_, picture):
    found = pylibdmtx.decode(Image.fromarray(picture), max_count=1, timeout=5000)
    return found[0].data if found else None


def readers(kind, content):
    yield "zxing-cpp", zxing
    # zbar and libdmtx hand out bytes; what they make of bytes beyond ASCII is theirs.
    if content.isascii():
        if kind in ZBAR:
            yield "zbar", zbar
        if kind == "data-matrix":
            yield "libdmtx", dmtx


def clean(entries):
    counts, wrong = {}, []
    for kind, dots, _, path, content in entries:
        # Blank tape around and dots of 3 pixels: a decoder is given a picture, not a matrix.
        picture = numpy.kron(numpy.pad(seen(path), 4, constant_values=255), numpy.ones((3, 3), numpy.uint8))
        for name, reader in readers(kind, content):
            good, all_ = counts.get((kind, name), (0, 0))
            read = reader(kind, picture)
            counts[kind, name] = (good + (read == content), all_ + 1)
            if read != content:
                wrong.append(f"{name} read {read!r} from {kind} at {dots} dots, wanted {content!r} ({path})")
    for (kind, name), (good, all_) in sorted(counts.items()):
        print(f"{kind} {name} {good}/{all_}")
    if wrong:
        sys.exit("\n".join(wrong[:10]))


def photographed(picture, dpi, pixels, angle, chance):
    """What a camera sees of a label that lies on something dark, turned by an angle."""
    edge = max(2, round(dpi / 25.4))
    paper = numpy.pad(numpy.pad(picture, edge, constant_values=255), edge, constant_values=90)
    paper = Image.fromarray(paper)
    # Each pixel is the mean of 4 × 4 points; where they fall on the dots is chance.
    points = 4
    step = dpi / 25.4 / pixels / points
    turn = numpy.radians(angle)
    cos, sin = numpy.cos(turn), numpy.sin(turn)
    wide = int((paper.width * cos + paper.height * sin) / step / points) * points
    high = int((paper.width * sin + paper.height * cos) / step / points) * points
    left, top = chance.random(2)
    middle = paper.width / 2 + left, paper.height / 2 + top
    x0 = middle[0] - step * (cos * wide / 2 - sin * high / 2)
    y0 = middle[1] - step * (sin * wide / 2 + cos * high / 2)
    turned = (step * cos, -step * sin, x0, step * sin, step * cos, y0)
    image = paper.transform((wide, high), Image.Transform.AFFINE, turned, Image.Resampling.NEAREST, fillcolor=90)
    image = image.reduce(points).filter(ImageFilter.GaussianBlur(BLUR))
    light = numpy.asarray(image, numpy.float32) / 255 * (LIGHT - DARK) + DARK
    # Brighter to one side, and noise.
    light *= numpy.linspace(0.85, 1.1, light.shape[1], dtype=numpy.float32)[None, :]
    light += chance.normal(0, NOISE, light.shape)
    return numpy.clip(light, 0, 255).astype(numpy.uint8)


def camera(entries, folder=None):
    counts = {}
    for number, (kind, dots, dpi, path, content) in enumerate(entries):
        for turn, (pixels, angle) in enumerate(itertools.product(PIXELS.get(kind, [12]), ANGLES)):
            chance = numpy.random.default_rng([number, turn])
            picture = photographed(seen(path), dpi, pixels, angle, chance)
            key = kind, dots, pixels, angle
            if folder and key not in counts:
                Image.fromarray(picture).save(f"{folder}/{kind}-{dots}-{pixels}-{angle:.0f}.png")
            good, all_ = counts.get(key, (0, 0))
            counts[key] = (good + (zxing(kind, picture) == content), all_ + 1)
    for (kind, dots, pixels, angle), (good, all_) in sorted(counts.items()):
        print(f"{kind} {dots} {pixels} {angle:.0f} {good} {all_}")


def strip(kind, path):
    # Small modules of a long picture are found when there are more dots of each.
    picture = numpy.kron(seen(path), numpy.ones((4, 4), numpy.uint8))
    for found in zxingcpp.read_barcodes(picture, formats=FORMATS[kind], text_mode=zxingcpp.TextMode.Plain):
        print(found.text)


def main():
    mode, list_ = sys.argv[1:3]
    if mode == "strip":
        strip(list_, sys.argv[3])
        return
    with open(list_, encoding="utf-8") as file:
        lines = [line.rstrip("\n").split("\t") for line in file]
    entries = [(kind, int(dots), float(dpi), path, bytes.fromhex(content)) for kind, dots, dpi, path, content in lines]
    {"clean": clean, "camera": camera}[mode](entries, *sys.argv[3:])


main()
