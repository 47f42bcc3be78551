"""Cable lists by writers and readers that are not ours.

    pip install openpyxl==3.1.5
    python tests/outside/cable_lists.py write BOOK.xlsx    a spreadsheet, written by openpyxl
    python tests/outside/cable_lists.py rows LIST.csv      its rows as JSON, read by Python's csv module

The csv module's `excel` and `excel-tab` dialects quote as RFC 4180 does (Python library reference, "csv").
"""

import csv
import json
import sys

import openpyxl

HEADERS = ["Owner", "Batch", "Number", "Length", "Outside dia", "Colour", "Note"]
ROWS = [
    ["TWP", "OTTER", 1040, "50 ft", 6.15, "red", 'says "left", 12\'6"'],
    ["TWP", "OTTER", 1041, "50 ft", 6.15, None, "two\nlines"],
    ["TWP", "HERON", "0007", "15 m", 0.1 + 0.2 + 8, "blue, dark", "Bühne"],
]


def write(path):
    book = openpyxl.Workbook()
    book.active.title = "About"
    book.active.append(["Tidewater Playhouse, sound store"])
    sheet = book.create_sheet("Cables")
    for row in [HEADERS, *ROWS]:
        sheet.append(row)
    book.save(path)


def rows(path):
    dialect = "excel-tab" if path.endswith(".tsv") else "excel"
    with open(path, newline="", encoding="utf-8") as file:
        print(json.dumps(list(csv.DictReader(file, dialect=dialect, strict=True))))


if __name__ == "__main__":
    {"write": write, "rows": rows}[sys.argv[1]](sys.argv[2])
