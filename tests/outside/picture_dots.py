"""Compares a 1-bit picture with the picture it was drawn from.

picture_dots.py PICTURE DOTS LEVEL TOLERANCE

Pillow decodes PNG and JPEG, rsvg-convert draws SVG at 1024 pixels. White margins are cut off, the rest
is averaged over the area of each dot (floating point, nothing shared with the program), and a dot is ink
where the mean is below LEVEL. DOTS is a PBM as the program writes head lines: a row is a column of what
one sees, its first bit the bottom. A dot that differs must have a mean within TOLERANCE of LEVEL.
"""

import io
import math
import shutil
import subprocess
import sys

from PIL import Image, ImageOps

PAPER = 247


def fail(text):
    print(text, file=sys.stderr)
    sys.exit(1)


def linear(value):
    """Light of an sRGB value (IEC 61966-2-1)."""
    value /= 255
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


def encoded(light):
    value = light * 12.92 if light <= 0.0031308 else 1.055 * light ** (1 / 2.4) - 0.055
    return value * 255


LIGHT = [linear(value) for value in range(256)]


def grey(pixel):
    red, green, blue = pixel
    if red == green == blue:
        return float(red)
    return encoded(0.2126 * LIGHT[red] + 0.7152 * LIGHT[green] + 0.0722 * LIGHT[blue])


def load(path):
    if path.endswith(".svg"):
        if not shutil.which("rsvg-convert"):
            print("no rsvg-convert: install the Debian package librsvg2-bin", file=sys.stderr)
            sys.exit(3)
        command = ["rsvg-convert", "--keep-aspect-ratio", "--width=1024", "--height=1024", "--background-color=white", path]
        image = Image.open(io.BytesIO(subprocess.run(command, check=True, capture_output=True).stdout))
    else:
        image = ImageOps.exif_transpose(Image.open(path))
    rgba = image.convert("RGBA")
    white = Image.new("RGBA", rgba.size, (255, 255, 255, 255))
    image = Image.alpha_composite(white, rgba).convert("RGB")
    return trimmed(to_grey(image))


def to_grey(image):
    """Grey values; a picture without colour keeps its own."""
    red, green, blue = image.split()
    if red.tobytes() == green.tobytes() == blue.tobytes():
        return rows_of(red, list(map(float, range(256))))
    known = {}
    data, (width, height) = image.tobytes(), image.size
    values = []
    for at in range(0, len(data), 3):
        pixel = data[at : at + 3]
        if pixel not in known:
            known[pixel] = grey(pixel)
        values.append(known[pixel])
    return [values[y * width : (y + 1) * width] for y in range(height)]


def rows_of(band, values):
    data, (width, height) = band.tobytes(), band.size
    return [[values[value] for value in data[y * width : (y + 1) * width]] for y in range(height)]


def trimmed(rows):
    """Without the margins in which every value rounds to paper."""
    least = [min(column) for column in zip(*rows)]
    columns = [x for x, value in enumerate(least) if round(value) < PAPER]
    kept = [y for y, row in enumerate(rows) if round(min(row)) < PAPER]
    return [row[columns[0] : columns[-1] + 1] for row in rows[kept[0] : kept[-1] + 1]]


def resampled(values, count):
    """Means over `count` equal parts of a list, by its running sum."""
    sums = [0.0]
    for value in values:
        sums.append(sums[-1] + value)

    def upto(place):
        whole = min(math.floor(place), len(values) - 1)
        return sums[whole] + (place - whole) * values[whole]

    size = len(values) / count
    return [(upto((i + 1) * size) - upto(i * size)) / size for i in range(count)]


def pbm(path):
    data = open(path, "rb").read()
    magic, width, height, rest = data.split(maxsplit=3)
    assert magic == b"P4", "no raw PBM"
    width, height = int(width), int(height)
    stride = (width + 7) // 8
    # The bits begin right after one byte of white space, and may themselves look like white space.
    rest = data[-stride * height :]
    return [[rest[r * stride + d // 8] >> (7 - d % 8) & 1 for d in range(width)] for r in range(height)]


def main():
    path, dots, level, tolerance = sys.argv[1], pbm(sys.argv[2]), float(sys.argv[3]), float(sys.argv[4])
    columns, high = len(dots), len(dots[0])
    rows = load(path)
    rows = [resampled(row, columns) for row in rows]
    differ = near = 0
    for x in range(columns):
        means = resampled([row[x] for row in rows], high)
        for y, mean in enumerate(means):
            if dots[x][high - 1 - y] != (mean < level):
                near += 1
                if abs(mean - level) > tolerance:
                    differ += 1
                    worst = f"column {x}, row {y}: mean {mean:.1f}, level {level:g}"
    if differ:
        fail(f"{differ} of {columns * high} dots differ, the last at {worst}")
    print(f"{columns * high} dots, {near} of them rounded the other way")


main()
