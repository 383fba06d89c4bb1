"""Draws labels as printers would at 203 dots an inch and reads their symbols with zxing-cpp, a reader of its own.

The manifest lists labels: an SVG, what goes to a label printer, or a place on a page of a PDF. For each the answer
has what was read: the symbology identifier (ISO/IEC 15424) and the bytes, in hexadecimal.
"""
import json
import re
import sys

import numpy
import pypdfium2
import zxingcpp

DPI = 203
FORMATS = zxingcpp.barcode_formats_from_str("DataMatrix,Code128")


def read(image):
    """What stands in a picture; the label's own paper goes on around it."""
    image = numpy.pad(image, 24, constant_values=255)
    found = zxingcpp.read_barcodes(image, formats=FORMATS, try_downscale=False)
    return [[one.symbology_identifier, bytes(one.bytes).hex()] for one in found]


def of_svg(text):
    size = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', text)
    dots = lambda mm: int(round(float(mm) * DPI / 25.4))
    image = numpy.full((dots(size[2]), dots(size[1])), 255, dtype=numpy.uint8)
    path = re.search(r'<path fill="#000"[^>]* d="([^"]*)"', text)[1]
    for x, y, wide, high in re.findall(r"M([\d.]+) ([\d.]+)h([\d.]+)v([\d.]+)h-[\d.]+z", path):
        x, y, wide, high = float(x), float(y), float(wide), float(high)
        image[dots(y):dots(y + high), dots(x):dots(x + wide)] = 0
    return image


def of_printer(text):
    wide, high = (int(re.search(rf"\^{name}(\d+)", text)[1]) for name in ("PW", "LL"))
    image = numpy.full((high, wide), 255, dtype=numpy.uint8)
    for left, top, all_bytes, count, row, data in re.findall(
        r"\^FO(\d+),(\d+)\^GFA,(\d+),(\d+),(\d+),([0-9A-F]+)\^FS", text
    ):
        left, top, row = int(left), int(top), int(row)
        data = bytes.fromhex(data)
        assert len(data) == int(all_bytes) == int(count), "the picture is as long as it says"
        bits = numpy.unpackbits(numpy.frombuffer(data, dtype=numpy.uint8).reshape(-1, row), axis=1)
        ys, xs = numpy.nonzero(bits)
        image[ys + top, xs + left] = 0
    return image


def of_page(document, page, box):
    key = (document, page)
    if key not in PAGES:
        drawn = pypdfium2.PdfDocument(document)[page].render(scale=DPI / 72, grayscale=True)
        PAGES[key] = drawn.to_numpy().reshape(drawn.height, -1)[:, : drawn.width]
    left, top, wide, high = (int(round(mm * DPI / 25.4)) for mm in box)
    return PAGES[key][top : top + high, left : left + wide]


PAGES = {}
answers = []
for label in json.load(open(sys.argv[1])):
    if "svg" in label:
        image = of_svg(label["svg"])
    elif "printer" in label:
        image = of_printer(label["printer"])
    else:
        image = of_page(label["pdf"], label["page"], label["box"])
    answers.append(read(image))
print(json.dumps(answers))
