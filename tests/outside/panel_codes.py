"""Reads every code on a picture of a strip with a decoder that is not ours.

usage: panel_codes.py PICTURE CONTENT=COUNT ...

PICTURE is a PNG of `tapewright proof`, or a PBM of `tapewright readback`, of a stock that is not mirrored. Each content must be read as
often as said, wherever it stands and whichever way it is turned, and nothing else may be read.

Reader: zxing-cpp. Exit status: 0; 1 when something else was read, with what it was.
"""

import collections
import sys

try:
    import zxingcpp
    from PIL import Image
except ImportError as error:
    sys.exit(f"{error}: install the packages of tests/outside/requirements.txt")


def main(arguments):
    path, *wanted = arguments
    wanted = collections.Counter({content: int(count) for content, count in (word.rsplit("=", 1) for word in wanted)})
    picture = Image.open(path).convert("L")
    found = collections.Counter(
        code.text for code in zxingcpp.read_barcodes(picture, text_mode=zxingcpp.TextMode.Plain)
    )
    if found != wanted:
        sys.exit(f"{path}: read {dict(found)}, wanted {dict(wanted)}")
    print(f"{sum(found.values())} codes read")


if __name__ == "__main__":
    main(sys.argv[1:])
