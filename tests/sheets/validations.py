"""Prints, as JSON, what openpyxl sees in a workbook: drop-downs by column, hidden sheets, words of the lists. Then types
a play into it and saves it under another name. Usage: validations.py BOOK COPY PACKAGES"""

import json
import sys

sys.path.insert(0, sys.argv[3])
import openpyxl  # noqa: E402

book = openpyxl.load_workbook(sys.argv[1])
page = book["Plays"]
titles = [cell.value for cell in page[1]]
lists = {}
for rule in page.data_validations.dataValidation:
    if rule.type != "list":
        continue
    area = next(iter(rule.sqref.ranges))
    name, cells = rule.formula1.lstrip("=").split("!")
    lists[titles[area.min_col - 1]] = {
        "rows": [area.min_row, area.max_row],
        "words": [cell[0].value for cell in book[name][cells.replace("$", "")]],
    }
print(json.dumps({"titles": titles, "lists": lists, "hidden": [s.title for s in book if s.sheet_state != "visible"],
                  "formats": {t: page.cell(2, i + 1).number_format for i, t in enumerate(titles)}}))
for row, play in enumerate([[1, "10", "own 25", "one-high", 4], [2, "6", "own 29", "two-high", 3]], 2):
    for title, value in zip(["Down", "Distance", "Ball on", "Shell", "Gain"], play):
        page.cell(row, titles.index(title) + 1).value = value
book.save(sys.argv[2])
