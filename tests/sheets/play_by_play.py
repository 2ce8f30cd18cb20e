"""Writes games of real play-by-play as tag sheets, in five shapes of our own making, each with what it must be read as.

The games are those of 2009 to 2013 in nflgame 1.2.20 (PyPI, Unlicense): numbers only. Names of men and teams are not
taken over: the teams are called home and away. Usage: play_by_play.py ARCHIVE FOLDER COUNT PACKAGES

FOLDER/NNN.json: {"sheet": file, "shape": 0-4, "rows": [tags], "broken": {check: count}}; the last are the rows that break
the rules of the game in the data itself, counted here by rules of its own."""

import csv
import datetime
import gzip
import io
import json
import re
import sys
import tarfile

archive, folder, count, packages = sys.argv[1], sys.argv[2], int(sys.argv[3]), sys.argv[4]
sys.path.insert(0, packages)
import openpyxl  # noqa: E402

SEASONS = range(2009, 2014)


def gain_of(text):
    if "INTERCEPTED" in text or " incomplete" in text or " spiked " in text:
        return 0
    found = re.search(r"\bfor (no gain|-?\d+ yards?)", text)
    if not found:
        return None
    return 0 if found[1] == "no gain" else int(found[1].split()[0])


def row_of(play, home):
    text = play["desc"] or ""
    if "REVERSED" in text:
        text = text.split("REVERSED", 1)[1]
    down, note = play["down"], play["note"] or ""
    row = {"quarter": play["qtr"]}
    if not 1 <= play["qtr"] <= 5:
        return None
    if re.fullmatch(r"1[0-5]:\d\d|0?\d:\d\d", play["time"] or ""):
        minutes, seconds = map(int, play["time"].split(":"))
        if minutes * 60 + seconds <= 900:
            row["clock"] = f"{minutes}:{seconds:02}"
    if play["posteam"]:
        row["ball"] = "home" if play["posteam"] == home else "away"
    spot = re.fullmatch(r"([A-Z]+) (\d+)|(50)", (play["yrdln"] or "").replace("MID 50", "50"))
    if spot:
        if spot[3] or spot[2] == "50":
            row["ball_on"] = "50"
        elif 1 <= int(spot[2]) <= 49 and play["posteam"]:
            row["ball_on"] = f"{'own' if spot[1] == play['posteam'] else 'opp'} {int(spot[2])}"
    if " kicks " in text and down == 0:
        row["play_type"] = "kickoff"
    elif "extra point" in text or "TWO-POINT" in text:
        row["play_type"] = "try"
    elif " punts " in text:
        row["play_type"] = "punt"
    elif " field goal " in text:
        row["play_type"] = "field goal"
    elif down == 0 and "No Play" not in text:
        return None
    if "No Play" in text:
        row["play_type"] = "no play"
    elif "play_type" not in row:
        passed = " pass " in text or " sacked " in text or " spiked " in text
        row["play_type"] = "pass" if passed else "run"
        gain = gain_of(text)
        if gain is not None:
            row["gain"] = gain
        if "INTERCEPTED" in text:
            row["pass_result"] = "intercepted"
        elif " incomplete" in text:
            row["pass_result"] = "incomplete"
        elif " pass " in text:
            row["pass_result"] = "complete"
        if "PENALTY" in text:
            row["ending"] = "penalty"
        elif "FUMBLES" in text:
            row["ending"] = "fumble"
        elif "TOUCHDOWN" in text:
            row["ending"] = "touchdown"
        elif " sacked " in text:
            row["ending"] = "sack"
    if 1 <= down <= 4:
        row["down"] = down
        if 1 <= play["ydstogo"] <= 99:
            row["distance"] = play["ydstogo"]
    return row


def game_rows(data):
    game = data[[k for k in data if k != "nextupdate"][0]]
    plays = {}
    for drive in game["drives"].values():
        if isinstance(drive, dict):
            plays.update({int(k): v for k, v in drive["plays"].items()})
    rows = [row_of(plays[k], game["home"]["abbr"]) for k in sorted(plays)]
    rows = [r for r in rows if r]
    for number, row in enumerate(rows, 1):
        row["sheet_number"] = str(number)
    return rows


def yards(spot):
    side = spot.split()
    return 50 if spot == "50" else int(side[1]) if side[0] == "own" else 100 - int(side[1])


def broken(rows):
    """Rows that break the rules of the game, by rules written down apart from the program's."""
    out = dict.fromkeys(["distance", "down", "spot", "quarter", "clock", "doubled"], 0)
    same = lambda r: {k: v for k, v in r.items() if k not in ("sheet_number", "clock")}  # noqa: E731
    for a, b in zip(rows, rows[1:]):
        clocks = [sum(int(n) * m for n, m in zip(r["clock"].split(":"), (60, 1))) if "clock" in r else None for r in (a, b)]
        if len(same(a)) > 1 and same(a) == same(b) and (None in clocks or clocks[0] == clocks[1]):
            out["doubled"] += 1
            continue
        out["quarter"] += b["quarter"] < a["quarter"]
        if None not in clocks and a["quarter"] == b["quarter"]:
            out["clock"] += clocks[1] > clocks[0]
        part = lambda r: {1: 1, 2: 1, 3: 2, 4: 2}.get(r["quarter"], r["quarter"])  # noqa: E731
        if a.get("ball", "?") != b.get("ball", a.get("ball", "?")) and "ball" in a or part(a) != part(b):
            continue
        if a["play_type"] not in ("run", "pass") or a.get("ending") in ("penalty", "fumble", "touchdown"):
            continue
        if a.get("pass_result") == "intercepted" or "down" not in a or "down" not in b:
            continue
        if b["down"] != a["down"] + 1:
            out["down"] += b["down"] != 1
            continue
        if "gain" not in a:
            continue
        if "distance" in a and "distance" in b:
            out["distance"] += a["distance"] - a["gain"] != b["distance"] or a["gain"] >= a["distance"]
        if "ball_on" in a and "ball_on" in b:
            out["spot"] += abs(yards(a["ball_on"]) + a["gain"] - yards(b["ball_on"])) > 1
    return out


ENDS = {1: "1st", 2: "2nd", 3: "3rd", 4: "4th"}


def signed(spot):
    return spot.replace("own ", "-").replace("opp ", "+")


def result(r):
    return ", ".join(r[k] for k in ("pass_result", "ending") if k in r)


def table(rows, columns):
    return [[title for title, _ in columns]] + [[get(r) for _, get in columns] for r in rows]


def shape_0(rows):
    keys = [("Play #", "sheet_number"), ("Qtr", "quarter"), ("Clock", "clock"), ("Possession", "ball"), ("Down", "down"),
            ("Dist", "distance"), ("Ball On", "ball_on"), ("Type", "play_type"), ("Pass Result", "pass_result"),
            ("Ending", "ending"), ("Gain", "gain")]
    return keys, text(table(rows, [(t, lambda r, k=k: r.get(k, "")) for t, k in keys])).encode(), "csv"


def down_and_distance(r):
    return "" if "down" not in r else f"{ENDS[r['down']]} & {r['distance']}" if "distance" in r else ENDS[r["down"]]


def shape_1(rows):
    columns = [("No.", lambda r: r["sheet_number"]), ("Quarter", lambda r: f"Q{r['quarter']}" if r["quarter"] < 5 else "OT"),
               ("Time left", lambda r: r.get("clock", "-")), ("Team", lambda r: r.get("ball", "?")),
               ("Down & Distance", down_and_distance), ("Yard line", lambda r: signed(r.get("ball_on", ""))),
               ("Run/Pass", lambda r: r["play_type"].upper()), ("Result", result),
               ("Yards", lambda r: f"{r['gain']:+}" if "gain" in r else ""), ("R\u00e9marque", lambda r: "\u2013")]
    return columns, text(table(rows, columns), delimiter=";").encode("windows-1252"), "csv"


def lost(r):
    return "" if "gain" not in r else "no gain" if r["gain"] == 0 else f"loss of {-r['gain']}" if r["gain"] < 0 else f"{r['gain']} yds"


def shape_2(rows):
    columns = [("#", lambda r: r["sheet_number"]), ("PERIOD", lambda r: r["quarter"]),
               ("Game  Clock", lambda r: r["clock"].removeprefix("0") if "clock" in r else ""),
               ("poss", lambda r: r.get("ball", "")), ("DOWN", lambda r: ENDS.get(r.get("down"), "")),
               ("yds to go", lambda r: f"{r['distance']} yds" if "distance" in r else ""),
               ("Spot", lambda r: r.get("ball_on", "").upper()), ("play type", lambda r: r["play_type"]),
               ("Completion", lambda r: {"complete": "C", "incomplete": "inc", "intercepted": "INT"}.get(r.get("pass_result"), "")),
               ("How it ended", lambda r: r.get("ending", "")), ("Gain/Loss", lost)]
    head = [t for t, _ in columns]
    out, last = [], None
    for line, row in zip(table(rows, columns)[1:], rows):
        if row["quarter"] != last:
            out.append(head)
            last = row["quarter"]
        out.append(line)
    return columns, text(out, delimiter="\t").encode("utf-16"), "txt"


def shape_3(rows):
    made = openpyxl.Workbook()
    page = made.active
    page.title = "Tag sheet"
    page.append(["home against away"])
    page.append([])
    page.append(["Number", "Qtr", "Clock", "Ball", "Down", "Distance", "Ball on", "Play type", "Pass result", "Ending", "Gain"])
    for r in rows:
        clock = r.get("clock")
        if clock:
            minutes, seconds = map(int, clock.split(":"))
            clock = datetime.time(minutes, seconds)
        down, distance = r.get("down"), r.get("distance")
        if down and distance and distance <= 28:
            down, distance = datetime.datetime(2012, down, distance), None
        page.append([int(r["sheet_number"]), r["quarter"], clock, r.get("ball"), down, distance, r.get("ball_on"),
                     r["play_type"], r.get("pass_result"), r.get("ending"), r.get("gain")])
    made.create_sheet("Notes").append(["nothing here"])
    out = io.BytesIO()
    made.save(out)
    return None, out.getvalue(), "xlsx"


def shape_4(rows):
    columns = [("N", lambda r: r["sheet_number"]), ("Prd", lambda r: r["quarter"]), ("Left", lambda r: r.get("clock", "")),
               ("Who", lambda r: r.get("ball", "")), ("Dn", lambda r: r.get("down", "")),
               ("Need", lambda r: r.get("distance", "")), ("Where", lambda r: r.get("ball_on", "")),
               ("What", lambda r: r["play_type"]), ("Thrown", lambda r: r.get("pass_result", "")),
               ("Over", lambda r: r.get("ending", "")), ("Made", lambda r: r.get("gain", ""))]
    return columns, text(table(rows, columns), delimiter="|", quoting=csv.QUOTE_ALL, lineterminator="\r").encode(), "csv"


def text(rows, **how):
    out = io.StringIO()
    csv.writer(out, **how).writerows(rows)
    return out.getvalue()


with tarfile.open(archive) as tar:
    games = [m for m in tar.getmembers() if m.name.endswith(".json.gz")]
    # The season of a game of January is the year before.
    season = lambda n: int(n[:4]) - (n[4:6] < "03")  # noqa: E731
    games = [m for m in games if re.match(r"\d{10}", m.name.split("/")[-1]) and season(m.name.split("/")[-1]) in SEASONS]
    games.sort(key=lambda m: m.name)
    step = len(games) / count
    for number in range(count):
        member = games[int(number * step)]
        rows = game_rows(json.load(gzip.open(tar.extractfile(member))))
        shape = number % 5
        _, data, ending = [shape_0, shape_1, shape_2, shape_3, shape_4][shape](rows)
        name = f"{number:03}.{ending}"
        with open(f"{folder}/{name}", "wb") as file:
            file.write(data)
        with open(f"{folder}/{number:03}.json", "w") as file:
            json.dump({"sheet": name, "shape": shape, "rows": rows, "broken": broken(rows)}, file)
