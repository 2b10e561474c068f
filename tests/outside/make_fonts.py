"""Makes what the engraver draws with, from the published fonts; run by hand when a glyph is added.

    target/outside/venv/bin/pip install fonttools
    npm pack @vexflow-fonts/bravura@1.0.2       (SMuFL font Bravura 1.392, SIL OFL 1.1)
    apt-get download fonts-sil-andika           (Andika 6.101, SIL OFL 1.1)
    target/outside/venv/bin/python tests/outside/make_fonts.py BRAVURA_FOLDER ANDIKA.ttf

writes src/engrave/bravura_outlines.rs (outlines and anchors of the glyphs named below, in staff spaces) and
src/engrave/fonts/fingertape-letters.ttf (a subset of Andika under a name of its own, as its licence asks of
modified versions).
"""

import json
import pathlib
import sys

from fontTools import subset
from fontTools.pens.recordingPen import DecomposingRecordingPen
from fontTools.ttLib import TTFont

# SMuFL name, code point; the order of the table in src/engrave/glyph.rs.
GLYPHS = [
    ("gClef", 0xE050),
    ("cClef", 0xE05C),
    ("fClef", 0xE062),
    *[(f"timeSig{digit}", 0xE080 + digit) for digit in range(10)],
    ("noteheadDoubleWhole", 0xE0A0),
    ("noteheadWhole", 0xE0A2),
    ("noteheadHalf", 0xE0A3),
    ("noteheadBlack", 0xE0A4),
    ("augmentationDot", 0xE1E7),
    ("flag8thUp", 0xE240),
    ("flag8thDown", 0xE241),
    ("flag16thUp", 0xE242),
    ("flag16thDown", 0xE243),
    ("flag32ndUp", 0xE244),
    ("flag32ndDown", 0xE245),
    ("flag64thUp", 0xE246),
    ("flag64thDown", 0xE247),
    ("accidentalFlat", 0xE260),
    ("accidentalNatural", 0xE261),
    ("accidentalSharp", 0xE262),
    ("accidentalDoubleSharp", 0xE263),
    ("accidentalDoubleFlat", 0xE264),
    ("restDoubleWhole", 0xE4E2),
    ("restWhole", 0xE4E3),
    ("restHalf", 0xE4E4),
    ("restQuarter", 0xE4E5),
    ("rest8th", 0xE4E6),
    ("rest16th", 0xE4E7),
    ("rest32nd", 0xE4E8),
    ("rest64th", 0xE4E9),
    *[(f"tuplet{digit}", 0xE880 + digit) for digit in range(10)],
    ("metNoteWhole", 0xECA2),
    ("metNoteHalfUp", 0xECA3),
    ("metNoteQuarterUp", 0xECA5),
    ("metNote8thUp", 0xECA7),
    ("metNote16thUp", 0xECA9),
    ("metNote32ndUp", 0xECAB),
]

# What the words of a sheet are written with: Latin, Greek capitals where the face has them, Cyrillic,
# punctuation, fractions, sharp and flat.
LETTERS = [
    *range(0x20, 0x7F), *range(0xA0, 0x250), 0x2BB, 0x2BC, *range(0x300, 0x32E), *range(0x400, 0x482),
    *range(0x48A, 0x530), *range(0x1E00, 0x1F00), *range(0x2010, 0x2028), 0x2030, 0x2032, 0x2033, 0x2039, 0x203A,
    0x20AC, 0x2122, 0x2190, 0x2191, 0x2192, 0x2193, 0x2212, *range(0x2153, 0x215F), 0x266D, 0x266F,
]


def number(value: float) -> str:
    text = f"{value:.3f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def outline(font: TTFont, code: int) -> str:
    """SVG path data in staff spaces (a quarter of an em), y downward."""
    pen = DecomposingRecordingPen(font.getGlyphSet())
    font.getGlyphSet()[font.getBestCmap()[code]].draw(pen)
    space = font["head"].unitsPerEm / 4
    letters = {"moveTo": "M", "lineTo": "L", "curveTo": "C", "closePath": "Z", "endPath": "Z"}
    parts = []
    for what, points in pen.value:
        numbers = " ".join(f"{number(x / space)} {number(-y / space)}" for x, y in points)
        parts.append(letters[what] + numbers)
    return "".join(parts)


def bounds(font: TTFont, code: int) -> list[float]:
    from fontTools.pens.boundsPen import BoundsPen

    pen = BoundsPen(font.getGlyphSet())
    font.getGlyphSet()[font.getBestCmap()[code]].draw(pen)
    space = font["head"].unitsPerEm / 4
    left, bottom, right, top = (value / space for value in pen.bounds)
    return [left, -top, right, -bottom]


def rust_float(value: float) -> str:
    text = number(value)
    return text if "." in text else text + ".0"


def write_outlines(folder: pathlib.Path, target: pathlib.Path) -> None:
    font = TTFont(folder / "bravura.otf")
    metadata = json.loads((folder / "metadata.json").read_text(encoding="utf-8"))
    assert str(metadata["fontVersion"]) == "1.392", metadata["fontVersion"]
    lines = [
        "//! Outlines of Bravura 1.392 (Steinberg Media Technologies, SIL Open Font License 1.1), with the metrics and",
        "//! anchors of its SMuFL metadata. Written by `tests/outside/make_fonts.py`; not edited by hand.",
        "",
        "use super::glyph::Outline;",
        "",
        "/// In the order of `Glyph`; lengths in staff spaces, y downward, the origin where SMuFL has it.",
        "#[rustfmt::skip]",
        f"pub(super) const OUTLINES: [Outline; {len(GLYPHS)}] = [",
    ]
    for name, code in GLYPHS:
        box = ", ".join(rust_float(value) for value in bounds(font, code))
        advance = rust_float(metadata["glyphAdvanceWidths"].get(name, bounds(font, code)[2]))
        anchors = metadata["glyphsWithAnchors"].get(name, {})
        points = []
        for anchor in ("stemUpSE", "stemDownNW", "stemUpNW", "stemDownSW"):
            if anchor in anchors:
                x, y = anchors[anchor]
                points.append((rust_float(x), rust_float(-y)))
        up = next((anchors[a] for a in ("stemUpSE", "stemUpNW") if a in anchors), [0, 0])
        down = next((anchors[a] for a in ("stemDownNW", "stemDownSW") if a in anchors), [0, 0])
        pair = lambda point: f"({rust_float(point[0])}, {rust_float(-point[1])})"
        lines.append(
            f'    Outline {{ name: "{name}", bounds: [{box}], advance: {advance}, '
            f'stem_up: {pair(up)}, stem_down: {pair(down)}, path: "{outline(font, code)}" }},'
        )
    lines.append("];")
    target.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print(target, target.stat().st_size, "bytes")


def write_letters(source: pathlib.Path, target: pathlib.Path) -> None:
    options = subset.Options()
    options.layout_features = ["kern", "mark", "mkmk", "ccmp"]
    options.hinting = False
    options.name_IDs = [0, 13, 14]
    options.recalc_timestamp = False
    options.drop_tables += ["Glat", "Gloc", "Silf", "Sill", "Feat", "DSIG"]
    font = subset.load_font(str(source), options)
    subsetter = subset.Subsetter(options)
    subsetter.populate(unicodes=LETTERS)
    subsetter.subset(font)
    names = font["name"]
    for identifier, text in [
        (1, "Fingertape Letters"),
        (2, "Regular"),
        (3, "Fingertape Letters 1"),
        (4, "Fingertape Letters"),
        (5, "Version 1"),
        (6, "FingertapeLetters"),
    ]:
        names.setName(text, identifier, 3, 1, 0x409)
    font.recalcTimestamp = False
    subset.save_font(font, str(target), options)
    print(target, target.stat().st_size, "bytes", len(font.getBestCmap()), "characters")


if __name__ == "__main__":
    here = pathlib.Path(__file__).resolve().parent.parent.parent / "src" / "engrave"
    write_outlines(pathlib.Path(sys.argv[1]), here / "bravura_outlines.rs")
    write_letters(pathlib.Path(sys.argv[2]), here / "fonts" / "fingertape-letters.ttf")
