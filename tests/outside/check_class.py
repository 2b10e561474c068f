#!/usr/bin/env python3
"""Gradebooks of `fingertape class` in other programs' eyes: openpyxl and Python's csv find every student as text, no cell
is a formula, and both files say the same; poppler finds one page. Names are built to be taken for formulas."""

import csv
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import openpyxl

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = ROOT / "target/release/fingertape"
NAMES = ["=1+1", "+2", "-3", "@SUM(A1:A9)", "\t=4", "violin-5", "=cmd|'/c calc'!A0", "＝7", '8"; =8', "Ünï-9"]

failures = []
checks = 0


def check(condition, what):
    global checks
    checks += 1
    if not condition:
        failures.append(what)


def main():
    with tempfile.TemporaryDirectory() as folder:
        takes = Path(folder) / "takes"
        takes.mkdir()
        fixture = ROOT / "audio-fixtures/wrong-notes"
        shutil.copy(fixture / "melody.toml", takes / "melody.toml")
        shutil.copy(fixture / "take.flac", takes / "violin-5.flac")
        # A class list as openpyxl writes it.
        book = openpyxl.Workbook()
        book.active.append(["Instrument", "Student", "Group"])
        for line, name in enumerate(NAMES, start=2):
            book.active.cell(line, 1, "cello")
            cell = book.active.cell(line, 2)
            cell.value = name
            cell.data_type = "s"
            book.active.cell(line, 3, "=4B").data_type = "s"
        book.save(takes / "roster.xlsx")
        run = subprocess.run([PROGRAM, "class", takes], capture_output=True, text=True)
        check(run.returncode == 1, f"exit code {run.returncode}: {run.stderr}")
        marks = takes / "marks"
        sheet = openpyxl.load_workbook(marks / "gradebook.xlsx")["marks"]
        rows = list(sheet.iter_rows())
        with open(marks / "gradebook.csv", newline="", encoding="utf-8") as file:
            table = list(csv.reader(file))
        check(len(rows) == len(NAMES) + 1 == len(table), f"{len(rows)} and {len(table)} rows")
        for row, line in zip(rows, table):
            for cell, text in zip(row, line):
                where = f"{cell.coordinate} {cell.value!r} {text!r}"
                check(cell.data_type != "f", f"a formula: {where}")
                check(text[:1] not in ("=", "+", "-", "@", "\t", "\r"), f"like a formula: {where}")
                shown = "" if cell.value is None else str(cell.value)
                check(text in (shown, "'" + shown), f"not the same: {where}")
        for row, name in zip(rows[1:], NAMES):
            check(row[0].data_type == "s" and row[0].value == name.strip(), f"{row[0].value!r} is not {name!r}")
        marked = rows[1 + NAMES.index("violin-5")]
        check(marked[6].value == 94 and marked[6].data_type == "n", f"the mark is {marked[6].value!r}")
        pages = subprocess.run(["pdfinfo", marks / "overview.pdf"], capture_output=True, text=True, check=True).stdout
        check("Pages:           1\n" in pages, pages)
        words = subprocess.run(["pdftotext", "-layout", marks / "overview.pdf", "-"], capture_output=True, text=True)
        check("The Long Staircase" in words.stdout and "violin-5" in words.stdout, words.stdout)
    for failure in failures:
        print(f"FAILED {failure}")
    print(f"class: {checks} checks of a gradebook with {len(NAMES)} students, {len(failures)} failed")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
