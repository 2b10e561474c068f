"""Sheets as others read them: pdftotext and pdffonts (poppler) on what `fingertape sheet` and `songbook` write, and
music21's own reading of each melody against the heads and rests that are drawn in the SVG."""

import pathlib
import re
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ElementTree

import music21

ROOT = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = ROOT / "target" / "release" / "fingertape"
MELODIES = sorted((ROOT / "tests" / "engraving" / "melodies").glob("*.toml"))
ABC = """X:1
T:Two Boats
M:6/8
L:1/8
K:Gmin
G2B d3 | ^f2g a3- | a3 g^fd | (3cde d2 z2 | G6 |]
"""
failures = []


def run(*arguments):
    done = subprocess.run(arguments, capture_output=True, text=True)
    if done.returncode != 0:
        raise SystemExit(f"{arguments}: {done.stderr}")
    return done.stdout


def expect(what, condition, detail):
    if not condition:
        failures.append(f"{what}: {detail}")


def words_and_fonts(folder):
    """Every PDF has its title as text, its fonts embedded, and the pages that it says."""
    for melody in MELODIES:
        pdf = folder / "sheet.pdf"
        said = run(PROGRAM, "sheet", melody, "--output", pdf, "--names")
        pages = int(re.search(r"(\d+) pages?\.", said).group(1))
        info = run("pdfinfo", pdf)
        expect(melody.name, f"Pages:           {pages}" in info, info)
        expect(melody.name, "CreationDate" not in info, info)
        fonts = run("pdffonts", pdf).splitlines()[2:]
        expect(melody.name, fonts and all("FingertapeLetters" in line and " yes yes yes " in line for line in fonts), fonts)
        title = re.search(r'^title = "(.*)"', melody.read_text(encoding="utf-8"), re.M)
        text = " ".join(run("pdftotext", "-layout", pdf, "-").split())
        if title:
            for word in title.group(1).split():
                expect(melody.name, word in text, f"{word} not in {text[:200]}")
    return len(MELODIES)


def drawn(svg, name):
    tree = ElementTree.parse(svg)
    return [node for node in tree.iter() if node.get("class") == name]


def against_music21(folder):
    """music21 reads the same ABC file; it must find as many notes, rests and ties as we draw."""
    abc = folder / "boats.abc"
    abc.write_text(ABC, encoding="utf-8")
    svg = folder / "boats.svg"
    run(PROGRAM, "sheet", abc, "--instrument", "violin", "--output", svg)
    score = music21.converter.parse(abc)
    theirs = list(score.recurse().notesAndRests)
    notes = [one for one in theirs if one.isNote]
    ours = (len(drawn(svg, "note-head")), len(drawn(svg, "rest")))
    expect("music21", ours == (len(notes), len(theirs) - len(notes)), (ours, len(notes), len(theirs)))
    # Heights: steps down from the top line of the staff (F5, diatonic number 39), in the order of the notes.
    lines = [float(re.match(r"M\S+ ([\d.]+)H", node.get("d")).group(1)) for node in drawn(svg, "staff-line")]
    space = lines[1] - lines[0]
    heights = []
    for head in drawn(svg, "note-head"):
        y = float(re.match(r"translate\(\S+ (\S+)\)", head.get("transform")).group(1))
        top = min(lines[::5], key=lambda line: abs(y - line - 2 * space))
        heights.append(round((y - top) / space * 2 ))
    expected = [39 - note.pitch.diatonicNoteNum for note in notes]
    expect("music21", heights == expected, (heights, expected))
    return len(notes)


def main():
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        sheets = words_and_fonts(folder)
        notes = against_music21(folder)
        book = folder / "book.pdf"
        run(PROGRAM, "songbook", MELODIES[0].parent, "--output", book)
        contents = run("pdftotext", "-l", "1", "-layout", book, "-")
        expect("songbook", "Waltz of the Umbrellas" in contents, contents)
    for failure in failures:
        print("FAILED", failure)
    print(f"sheets: {sheets} PDFs with words and fonts, {notes} notes where music21 has them, {len(failures)} failures")
    return 1 if failures else 0


if __name__ == "__main__":
    sys.exit(main())
