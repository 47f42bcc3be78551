"""Writes the spreadsheets of tests/cases/lists with writers that are not ours.

    pip install odfpy==1.4.1 openpyxl==3.1.5
    python tests/outside/spreadsheets.py tests/cases/lists

The files are committed; this is how they were made.
"""

import datetime
import pathlib
import sys

import openpyxl
from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P

HEADERS = ["Owner", "Batch", "Number", "Length", "OD mm", "Kind", "Terminated", "Bought", "Tested", "Note"]
DAY = datetime.date(2026, 3, 1)
ROWS = [
    ["TWP", "OTTER", 1040, "50 ft", 6.15, "", "XLR", DAY, True, "stage left & pit"],
    ["TWP", "OTTER", 1041, "12'6\"", "", "RG-59", "no", None, False, "Bühne <links>"],
    [None] * 10,
    ["TWP", "HERON", 7, "15 m", 0.1 + 0.2 + 8, "", None, None, None, None],
]


def xlsx(path):
    book = openpyxl.Workbook()
    book.active.title = "About"
    book.active.append(["Tidewater Playhouse, sound store"])
    sheet = book.create_sheet("Cables")
    sheet.append(HEADERS)
    for row in ROWS:
        sheet.append(row)
    book.save(path)


def ods_cell(value):
    if value is None or value == "":
        return TableCell()
    if isinstance(value, bool):
        return TableCell(valuetype="boolean", booleanvalue="true" if value else "false")
    if isinstance(value, (int, float)):
        return TableCell(valuetype="float", value=repr(value))
    if isinstance(value, datetime.date):
        return TableCell(valuetype="date", datevalue=value.isoformat())
    cell = TableCell(valuetype="string")
    cell.addElement(P(text=value))
    return cell


def ods(path):
    book = OpenDocumentSpreadsheet()
    about = Table(name="About")
    row = TableRow()
    row.addElement(ods_cell("Tidewater Playhouse, sound store"))
    about.addElement(row)
    cables = Table(name="Cables")
    for values in [HEADERS, *ROWS]:
        row = TableRow()
        for value in values:
            row.addElement(ods_cell(value))
        cables.addElement(row)
    # Spreadsheet programs end a sheet with repeated blank rows.
    blank = TableRow(numberrowsrepeated=1_000_000)
    blank.addElement(TableCell(numbercolumnsrepeated=1024))
    cables.addElement(blank)
    book.spreadsheet.addElement(about)
    book.spreadsheet.addElement(cables)
    book.save(path)


if __name__ == "__main__":
    folder = pathlib.Path(sys.argv[1])
    xlsx(folder / "store.xlsx")
    ods(folder / "store.ods")
