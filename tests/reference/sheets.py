"""Writes the workbook that the tests read as one made by another program: openpyxl.

All rows are invented. `python3 tests/reference/sheets.py` (pip install openpyxl).
"""

import datetime
from pathlib import Path

from openpyxl import Workbook
from openpyxl.utils.datetime import MAC_EPOCH, WINDOWS_EPOCH

book = Workbook()
notes = book.active
notes.title = "Notes"
notes["A1"] = "Invented rows for a test."
sheet = book.create_sheet("deployments")
sheet.append(
    ["serial", "model_code", "model_version", "household_code", "installed_on", "ended_on",
     "end_reason", "second_stove"]
)
sheet.append(["S-1", "G1", 1, "HH-1", datetime.date(2024, 2, 29), None, None, False])
sheet.append(["S-2", "G1", 1, "HH-2", datetime.date(2024, 6, 1), datetime.date(2025, 3, 1), "moved", "no"])
sheet.append([None, None, None, None, None, None, None, None])
sheet.append(["S-3", "G1", 1.0, "HH-3", "2024-06-01", None, None, None])
sheet["A5"].number_format = "@"
sheet.freeze_panes = "A2"
book.save(Path(__file__).parent / "sheets" / "deployments.xlsx")

# Days and moments in both of the systems in which a workbook may count its days, and formulas
# that no program has worked out.
COLUMNS = ["household_code", "serial", "surveyed_on", "outcome", "days_used_last_week",
           "share_of_meals", "enumerator_code", "started_at", "ended_at"]
DAY = datetime.date(2025, 6, 10)


def at(hour, minute, second=0, microsecond=0):
    return datetime.datetime(2025, 6, 10, hour, minute, second, microsecond)


for system, epoch in [("1900", WINDOWS_EPOCH), ("1904", MAC_EPOCH)]:
    book = Workbook()
    book.epoch = epoch
    sheet = book.active
    sheet.append(COLUMNS)
    sheet.append(["HH-1", "S-1", DAY, "in_use", 7, 0.5, "EN-1", at(9, 5), at(9, 40)])
    sheet.append(["HH-2", "S-2", DAY, "in_use", 7, 0.5, "EN-1", "2025-06-10T10:05", at(23, 59)])
    sheet.append(["HH-3", "S-3", DAY, "in_use", 7, 0.5, "EN-1", at(9, 4, 59, 600_000), at(9, 40, 0, 400_000)])
    sheet.append(["HH-4", "S-4", DAY, "in_use", 7, 0.5, "EN-1", at(9, 5, 30), at(9, 40)])
    sheet.append(["HH-5", "S-5", DAY, "in_use", 7, 0.5, "EN-1", DAY, at(9, 40)])
    sheet.append(["HH-6", "S-6", at(9, 5), "in_use", 7, 0.5, "EN-1", None, None])
    book.save(Path(__file__).parent / "sheets" / f"moments-{system}.xlsx")

book = Workbook()
sheet = book.active
sheet.append(["Households of the north, invented"])
sheet.append([None])
sheet.append(COLUMNS)
book.create_sheet("more")
book.save(Path(__file__).parent / "sheets" / "title.xlsx")

book = Workbook()
sheet = book.active
sheet.append(COLUMNS)
sheet.append(["HH-1", "S-1", DAY, "in_use", 7, "=0.25+0.25", "EN-1", None, None])
sheet.merge_cells("A2:A3")
sheet.append([None, "S-2", DAY, "in_use", 7, 0.5, "EN-1", None, None])
book.save(Path(__file__).parent / "sheets" / "formulas.xlsx")
