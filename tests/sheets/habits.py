"""Writes one tag sheet in every habit of people and of spreadsheet programs, into the folder named: texts by Python's csv
module, XLSX by openpyxl, XLS by xlwt, ODS by zipfile (its parts typed here). What each must be read as stands in
tests/all/typed_sheets.rs. Usage: habits.py FOLDER PACKAGES"""

import csv
import datetime
import io
import re
import sys
import zipfile

folder, packages = sys.argv[1], sys.argv[2]
sys.path.insert(0, packages)
import openpyxl  # noqa: E402
import xlwt  # noqa: E402

HEADER = ["Play #", "Qtr", "Clock", "Down", "Dist", "Ball On", "Shell", "Gain", "Note"]
PLAYS = [
    [1, 1, "12:34", 1, 10, "own 25", "one-high", 4, "deep \u2013 middle"],
    [2, 1, "12:01", 2, 6, "own 29", "two-high", 0, "Jos\u00e9"],
    [3, 1, "11:20", 3, 6, "own 29", "one-high", 31, ""],
    [4, 2, "0:45", 1, 10, "opp 40", "zero-high", -3, "a, b; c"],
]
START = datetime.date(2018, 1, 1)


def put(name, data):
    with open(f"{folder}/{name}", "wb") as file:
        file.write(data)


def text(rows, **how):
    out = io.StringIO()
    csv.writer(out, **how).writerows(rows)
    return out.getvalue()


sheet = [HEADER] + PLAYS
put("plain.csv", text(sheet).encode())
put("bom.csv", text(sheet).encode("utf-8-sig"))
put("utf16.txt", text(sheet, delimiter="\t").encode("utf-16"))
put("windows.csv", text(sheet).encode("windows-1252"))
put("semicolon.csv", text(sheet, delimiter=";").encode())
put("sep-line.csv", ("sep=;\r\n" + text(sheet, delimiter=";")).encode())
put("pipe.csv", text(sheet, delimiter="|").encode())
put("cr.csv", text(sheet, lineterminator="\r").encode())
put("quoted.csv", text(sheet, quoting=csv.QUOTE_ALL).encode())
put("unclosed.csv", text(sheet).replace("deep \u2013 middle", '"deep').encode())
put("line-breaks.csv", text([[h.replace(" ", "\n") for h in HEADER]] + PLAYS).encode())
put("trailing.csv", "\r\n".join(line + ",,," for line in text(sheet).splitlines()).encode())
put("ragged.csv", text([HEADER] + [[c for i, c in enumerate(p) if i < 8 or c] for p in PLAYS]).encode())
put("titles.csv", text([["Badgers at Herons"], ["typed by hand", "", "x"], []] + sheet).encode())
put("blanks.csv", text([HEADER, PLAYS[0], [], [""] * 9, PLAYS[1], [], PLAYS[2], PLAYS[3]]).encode())
put("repeated.csv", text([HEADER, *PLAYS[:2], HEADER, *PLAYS[2:]]).encode())
put("totals.csv", text(sheet + [["Total", "", "", "", "", "", "", 32, ""]]).encode())
put("headers.csv", text([[" PLAY # ", "QTR.", "clock", "DOWN", "dist", "Ball\u00a0On", "shell ", "GAIN", "note"]] + PLAYS).encode())
put("doubled.csv", text([HEADER + ["Shell"]] + [p + ["x"] for p in PLAYS]).encode())


def notations(row):
    """The same play in a tired person's words."""
    number, quarter, clock, down, dist, ball, shell, gain, note = row
    ends = {1: "1st", 2: "2nd", 3: "3rd", 4: "4th"}
    spot = ball.replace("own ", "-").replace("opp ", "+") if number % 2 else ball.upper()
    high = {"one-high": ["MOFC", "1-high", "single high"], "two-high": ["2 High"], "zero-high": ["0"]}[shell]
    joined = [f"{ends[down]} & {dist}", f"{down} and {dist}", f"{down}&{dist}", f"{down}\u2013{dist}"][number % 4]
    return [number, [f"Q{quarter}", f"{quarter}Q"][number % 2], clock.replace("0:45", ":45"), joined, "'" + spot,
            high[number % len(high)], f"loss of {-gain}" if gain < 0 else ["no gain", f"+{gain}"][gain > 0], note]


short = HEADER[:4] + HEADER[5:]
put("notations.csv", text([short] + [notations(p) for p in PLAYS]).encode())


def day(down, dist, base=datetime.date(1899, 12, 30)):
    """The serial that a program set to month-day order makes of "1-10"."""
    return (datetime.date(2018, down, dist) - base).days


slip = [[p[0], p[1], p[2], f"{p[4]:02}-{['Jan', 'Feb', 'Mar'][p[3] - 1]}", *p[5:]] for p in PLAYS]
put("dates.csv", text([short] + slip).encode())
serial = [[p[0], p[1], p[2], day(p[3], p[4]), *p[5:]] for p in PLAYS]
put("serials.csv", text([short] + serial).encode())
serial = [[p[0], p[1], p[2], day(p[3], p[4], datetime.date(1904, 1, 1)), *p[5:]] for p in PLAYS]
put("serials-1904.csv", text([short] + serial).encode())
fraction = [[p[0], p[1], sum(int(n) * m for n, m in zip(p[2].split(":"), (60, 1))) / 1440, *p[3:]] for p in PLAYS]
put("fractions.csv", text([HEADER] + fraction).encode())
signs = [p[:5] + [p[5].replace("own ", "-").replace("opp ", "")] + p[6:] for p in PLAYS]
put("plus-dropped.csv", text([HEADER] + signs).encode())


def book(rows, name, edit=lambda book, sheet: None):
    made = openpyxl.Workbook()
    page = made.active
    page.title = "Plays"
    for row in rows:
        page.append(row)
    edit(made, page)
    made.save(f"{folder}/{name}")


book(sheet, "plain.xlsx")


def titles(made, page):
    page.insert_rows(1, 3)
    page["A1"] = "Badgers at Herons"
    page.merge_cells("A1:I1")
    page["B2"] = "typed by hand"


book(sheet, "titles.xlsx", titles)


def merged(made, page):
    page.merge_cells("B2:B4")


book(sheet, "merged.xlsx", merged)


def sheets(made, page):
    other = made.create_sheet("Roster", 0)
    for n in range(30):
        other.append([f"number {n}", "name"])
    small = made.create_sheet("Kicks")
    small.append(HEADER)
    small.append([9, 4, "1:00", 4, 3, "own 40", "two-high", 0, ""])
    hidden = made.create_sheet("Old")
    hidden.sheet_state = "hidden"
    hidden.append(HEADER)
    for n in range(40):
        hidden.append(PLAYS[0])


book(sheet, "sheets.xlsx", sheets)


def date_cells(made, page):
    for at, play in enumerate(PLAYS):
        cell = page.cell(at + 2, 4)
        cell.value = datetime.datetime(2018, play[3], play[4])
        cell.number_format = "d-mmm"
        minutes, seconds = play[2].split(":")
        cell = page.cell(at + 2, 3)
        cell.value = datetime.time(int(minutes), int(seconds))
        cell.number_format = "h:mm"


book([HEADER[:4] + HEADER[5:]] + [p[:4] + p[5:] for p in PLAYS], "dates.xlsx", date_cells)


def dates_1904(made, page):
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    made.epoch = CALENDAR_MAC_1904
    date_cells(made, page)


book([HEADER[:4] + HEADER[5:]] + [p[:4] + p[5:] for p in PLAYS], "dates-1904.xlsx", dates_1904)


def formulas(made, page):
    # openpyxl writes formulas without the values that a spreadsheet program would have computed.
    page["E3"] = "=10-4"
    page["H3"] = "#REF!"
    page["I4"] = '=CONCATENATE("a","b")'


book(sheet, "formulas.xlsx", formulas)


def blanks(made, page):
    page.insert_rows(3, 2)
    page.append([])
    page.append(HEADER)
    page.append(["Totals", None, None, None, None, None, None, 32])


book(sheet, "blanks.xlsx", blanks)

# A workbook whose sheet claims to be one cell wide, and one that claims to be a million rows long.
for name, claim in (("narrow.xlsx", 'ref="A1"'), ("long.xlsx", 'ref="A1:XFD1048576"')):
    with zipfile.ZipFile(f"{folder}/plain.xlsx") as old, zipfile.ZipFile(f"{folder}/{name}", "w") as new:
        for entry in old.namelist():
            data = old.read(entry)
            if entry.endswith("sheet1.xml"):
                changed = re.sub(rb'(<dimension )ref="[^"]*"', b"\\1" + claim.encode(), data)
                assert changed != data
                data = changed
            new.writestr(entry, data)


def old_book(rows, name):
    made = xlwt.Workbook()
    page = made.add_sheet("Plays")
    for r, row in enumerate(rows):
        for c, value in enumerate(row):
            page.write(r, c, value)
    made.save(f"{folder}/{name}")


old_book(sheet, "plain.xls")
old_book([["Badgers at Herons"], []] + sheet, "titles.xls")


def ods(rows, name):
    def cell(value):
        if isinstance(value, tuple):
            return "".join(value)
        if value == "":
            return "<table:table-cell/>"
        shown = str(value).replace("&", "&amp;").replace("<", "&lt;")
        if isinstance(value, str):
            return f'<table:table-cell office:value-type="string"><text:p>{shown}</text:p></table:table-cell>'
        return f'<table:table-cell office:value-type="float" office:value="{value}"><text:p>{shown}</text:p></table:table-cell>'

    body = "".join("<table:table-row>" + "".join(map(cell, row)) + "</table:table-row>" for row in rows)
    spaces = "urn:oasis:names:tc:opendocument:xmlns:"
    content = (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content xmlns:office="{spaces}office:1.0" '
        f'xmlns:table="{spaces}table:1.0" xmlns:text="{spaces}text:1.0" office:version="1.2"><office:body>'
        f'<office:spreadsheet><table:table table:name="Plays">{body}<table:table-row '
        'table:number-rows-repeated="1048000"><table:table-cell table:number-columns-repeated="1024"/></table:table-row>'
        "</table:table></office:spreadsheet></office:body></office:document-content>"
    )
    manifest = (
        f'<manifest:manifest xmlns:manifest="{spaces}manifest:1.0"><manifest:file-entry manifest:full-path="/" '
        'manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/></manifest:manifest>'
    )
    with zipfile.ZipFile(f"{folder}/{name}", "w", zipfile.ZIP_DEFLATED) as out:
        out.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet", zipfile.ZIP_STORED)
        out.writestr("content.xml", content)
        out.writestr("META-INF/manifest.xml", manifest)


ods(sheet, "plain.ods")
ods([["Badgers at Herons"], []] + sheet, "titles.ods")


def dated(play, at):
    """Down and distance taken for a date, the clock for a time of day, the first three quarters merged."""
    minutes, seconds = play[2].split(":")
    kind = ["table:table-cell table:number-rows-spanned=\"3\" office:value-type=\"float\" office:value=\"1\"",
            "table:covered-table-cell", "table:covered-table-cell",
            "table:table-cell office:value-type=\"float\" office:value=\"2\""][at]
    return [play[0], (f"<{kind}/>",),
            (f'<table:table-cell office:value-type="time" office:time-value="PT{minutes}H{seconds}M00S"><text:p>x</text:p></table:table-cell>',),
            (f'<table:table-cell office:value-type="date" office:date-value="2018-{play[3]:02}-{play[4]:02}"><text:p>x</text:p></table:table-cell>',),
            *play[5:]]


ods([short] + [dated(p, at) for at, p in enumerate(PLAYS)], "dates.ods")
