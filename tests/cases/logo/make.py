"""Makes the pixel pictures of this folder anew: python make.py (needs Pillow). They are committed,
since encoders change; the tests hold for any file that shows the same."""

import pathlib
import struct
import zlib

from PIL import Image, ImageDraw, ImageOps

HERE = pathlib.Path(__file__).parent


def ring(size):
    """A ring and a bar, smoothed, black on white with a margin."""
    big = Image.new("L", (8 * size, 8 * size), 255)
    draw = ImageDraw.Draw(big)
    draw.ellipse([size, size, 7 * size - 1, 7 * size - 1], outline=0, width=size)
    draw.rectangle([3 * size, 4 * size - size // 3, 5 * size - 1, 4 * size + size // 3 - 1], fill=0)
    return big.resize((size, size), Image.Resampling.BOX)


def scene(width, height):
    """A colour picture with shades in it, and no margin."""
    image = Image.new("RGB", (width, height))
    for y in range(height):
        for x in range(width):
            inside = (x - width * 0.4) ** 2 + (y - height * 0.5) ** 2 < (height * 0.35) ** 2
            shade = 200 * x // width
            image.putpixel((x, y), (30 + shade // 2, 40 + 150 * y // height, 90) if inside else (shade, shade, 220 - shade))
    return image


def chunk(kind, data):
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def main():
    ring(48).save(HERE / "ring.png")
    # The same as a palette picture of few colours, as drawing programs write it.
    ring(48).convert("P").save(HERE / "ring-palette.png")
    # Black whose alpha is the ring, on transparent black: a black box to who forgets the alpha.
    alpha = Image.new("RGBA", (60, 52), (0, 0, 0, 0))
    alpha.putalpha(0)
    alpha.paste(Image.merge("RGBA", [Image.new("L", (48, 48), 0)] * 3 + [ImageOps.invert(ring(48))]), (9, 1))
    alpha.save(HERE / "ring-alpha.png")
    # A light yellow sign: ink all the same, since there is nothing darker.
    ImageOps.colorize(ring(48), (240, 220, 90), (255, 255, 255)).save(HERE / "ring-yellow.png")
    ramp = Image.new("L", (256, 32))
    ramp.putdata([x for _ in range(32) for x in range(256)])
    ramp.save(HERE / "ramp.png")
    scene(90, 60).save(HERE / "scene.jpg", quality=92, subsampling=0)
    scene(90, 60).save(HERE / "scene-progressive.jpg", quality=85, progressive=True)
    scene(90, 60).convert("CMYK").save(HERE / "scene-cmyk.jpg", quality=92)
    scene(90, 60).convert("L").save(HERE / "scene-grey.jpg", quality=92)
    scene(90, 60).save(HERE / "scene.png")
    exif = Image.Exif()
    for turn in range(2, 9):
        exif[274] = turn
        scene(48, 32).save(HERE / f"turned-{turn}.jpg", quality=92, subsampling=0, exif=exif)
    png = (HERE / "scene.png").read_bytes()
    (HERE / "bad-truncated.png").write_bytes(png[: len(png) // 2])
    jpeg = (HERE / "scene.jpg").read_bytes()
    (HERE / "bad-truncated.jpg").write_bytes(jpeg[: len(jpeg) // 2])
    bad = bytearray(png)
    bad[len(bad) // 2] ^= 0xFF
    (HERE / "bad-damaged.png").write_bytes(bad)
    (HERE / "bad-header-only.jpg").write_bytes(jpeg[:20])
    # 60,000 by 60,000 pixels in a few bytes.
    header = struct.pack(">IIBBBBB", 60_000, 60_000, 1, 0, 0, 0, 0)
    bomb = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")
    (HERE / "bad-huge.png").write_bytes(bomb)
    frame = bytearray(jpeg)
    at = frame.index(b"\xff\xc0")
    frame[at + 5 : at + 9] = struct.pack(">HH", 65_000, 65_000)
    (HERE / "bad-huge.jpg").write_bytes(frame)
    Image.new("L", (20, 20), 255).save(HERE / "bad-white.png")
    Image.new("L", (4, 4)).save(HERE / "bad-gif.png", format="GIF")


main()
