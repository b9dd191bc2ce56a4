"""Writes the workbook that the tests read as one made by another program: openpyxl.

All rows are invented. `python3 tests/reference/sheets.py` (pip install openpyxl).
"""

import datetime
from pathlib import Path

from openpyxl import Workbook

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
