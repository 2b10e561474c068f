"""Melody files against outside readers and the published schema.

Sources: the unofficial MusicXML test suite and the ABC corpora that PyPI music21 carries, read note for
note (sounding pitch, exact onset and length, repeats played out) against music21; what we write is
validated against musicxml_4_0.xsd (carried by PyPI musicxml) and read back by music21; MIDI is read back
by music21 too. Known differences are listed with their reason, and the list itself is checked: an entry
that no longer differs fails.
"""

import copy
import json
import re
import subprocess
import sys
import tempfile
import warnings
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from fractions import Fraction
from pathlib import Path

import music21
import musicxml
import xmlschema
from music21 import chord, converter, note, repeat, stream

warnings.filterwarnings("ignore")
ROOT = Path(__file__).resolve().parents[2]
M21 = Path(music21.__file__).parent
SUITE = M21 / "musicxml" / "lilypondTestSuite"
CORPORA = [M21 / "corpus" / "ryansMammoth", M21 / "corpus" / "airdsAirs"]
failures = []


def check(name, passed, text):
    print(f"{'ok  ' if passed else 'FAIL'} {name}: {text}")
    if not passed:
        failures.append(name)


def build():
    profile = ["--release"] if (ROOT / "target/release/fingertape").exists() else []
    subprocess.run(["cargo", "build", "--quiet", "--example", "dump_melody", *profile], cwd=ROOT, check=True)
    return ROOT / "target" / ("release" if profile else "debug") / "examples" / "dump_melody"


def dump(tool, files, write=None):
    """Our reading of files; a panic would end the tool with another status than 0."""
    out = []
    files = [str(file) for file in files]
    for at in range(0, len(files), 300):
        options = ["--write", str(write)] if write else []
        run = subprocess.run([tool, *options, *files[at : at + 300]], capture_output=True, text=True)
        if run.returncode != 0:
            check("no panic", False, run.stderr[-500:])
        out += [json.loads(line) for line in run.stdout.splitlines()]
    return out


def ours(read):
    """Sounding notes as (onset, length, pitch), in quarter notes from the first event."""
    return [
        (4 * Fraction(*event["start"]), 4 * Fraction(*event["length"]), event["midi"])
        for event in read["events"]
        if "midi" in event
    ]


def exact(quarters):
    return Fraction(quarters).limit_denominator(20_000)


def theirs(path, by_rule=False):
    """The same by music21, or the word for why it cannot be had."""
    try:
        if path.endswith(".abc"):
            score = converter.parse(plain_abc(Path(path).read_text(encoding="utf-8")), format="abc", forceSource=True)
        elif path.endswith(".mid"):
            score = converter.parse(path, forceSource=True, quantizePost=False)
        else:
            score = converter.parse(path, forceSource=True)
        parts = [part for part in score.parts if part.recurse().notes] or [score]
        part = parts[0]
        part = part.toSoundingPitch()
        if by_rule:
            part = played_by_rule(part)
        elif list(part.recurse().getElementsByClass((music21.bar.Repeat, repeat.RepeatExpression))):
            part = part.expandRepeats()
        part = part.stripTies()
        notes = []
        first = None
        for element in part.flatten().notesAndRests:
            if isinstance(element, music21.harmony.Harmony):
                continue
            if element.duration.isGrace:
                continue
            onset = exact(element.offset)
            first = onset if first is None else first
            if isinstance(element, chord.Chord):
                return "chord"
            if isinstance(element, note.Note) and element.quarterLength > 0:
                notes.append((onset - first, exact(element.quarterLength), int(element.pitch.ps)))
        return notes
    except Exception as error:  # music21 refuses a few files of its own suite
        return f"music21: {type(error).__name__}"


def theirs_by_rule(path):
    return theirs(path, by_rule=True)


def plain_abc(text):
    """The same tune without what ABC 2.1 lets a reader pass over and music21 stumbles upon: quoted texts,
    staccato dots and bowings (a `>` before a dot loses its rhythm there), backticks."""
    lines = []
    for line in text.split("\n"):
        if not re.match(r"[A-Za-z]:", line) and not line.startswith("%"):
            line = re.sub(r'"[^"]*"', "", line).replace("`", "")
            line = re.sub(r"[.uvTHS~](?=[\[.uvT~^_=A-Ga-gz({])", "", line)
            line = re.sub(r"[.uvTHS~](?=[\[.uvT~^_=A-Ga-gz({])", "", line)
        lines.append(line)
    return "\n".join(lines)


def played_by_rule(part):
    """A part played out by the plain rule: back to the last sign or end of a section, endings in turn.
    music21's own expansion goes back to the beginning where a start sign is left out."""
    measures = list(part.getElementsByClass(stream.Measure))
    brackets = {}
    for bracket in part.recurse().getElementsByClass(music21.spanner.RepeatBracket):
        for measure in bracket.getSpannedElements():
            brackets[id(measure)] = bracket.numberRange
    order, start, turn, at = [], 0, 1, 0
    while at < len(measures):
        measure = measures[at]
        left, right = measure.leftBarline, measure.rightBarline
        if isinstance(left, music21.bar.Repeat) and left.direction == "start" and start != at:
            start, turn = at, 1
        mine = brackets.get(id(measure))
        if mine and turn not in mine:
            at += 1
            continue
        order.append(measure)
        if isinstance(right, music21.bar.Repeat) and right.direction == "end":
            if turn < max(mine or [1]) or turn < (right.times or 2) and (not mine or max(mine) == 1):
                at, turn = start, turn + 1
                continue
            start, turn = at + 1, 1
        elif mine and not (at + 1 < len(measures) and brackets.get(id(measures[at + 1]))):
            start, turn = at + 1, 1
        at += 1
    out = stream.Part()
    for measure in order:
        copied = copy.deepcopy(measure)
        out.append(copied)
    return out


def difference(mine, other):
    for at, (a, b) in enumerate(zip(mine, other)):
        if a != b:
            return f"note {at}: {tuple(map(str, a))} here, {tuple(map(str, b))} there"
    return f"{len(mine)} notes here, {len(other)} there"


def compare(name, reads, known, pool):
    """Note for note; `known` maps a file to the reason why it differs."""
    refused = Counter(read["error"] for read in reads if "error" in read)
    unclear = [read["file"] for read in reads if "error" in read and len(read["message"]) < 20]
    read_here = [read for read in reads if "error" not in read]
    same, by_rule, other_way, cannot = 0, 0, {}, Counter()
    again = []
    for read, other in zip(read_here, pool.map(theirs, [read["file"] for read in read_here], chunksize=8)):
        if not isinstance(other, str) and ours(read) == other:
            same += 1
        else:
            again.append(read)
    for read, other in zip(again, pool.map(theirs_by_rule, [read["file"] for read in again], chunksize=8)):
        file = Path(read["file"]).name
        if isinstance(other, str):
            cannot[other] += 1
        elif ours(read) == other:
            by_rule += 1
        else:
            other_way[file] = difference(ours(read), other)
    unexpected = {file: why for file, why in other_way.items() if file not in known}
    stale = [file for file in known if file not in other_way]
    for file, why in list(unexpected.items())[:40]:
        print(f"     {file}: {why}")
    for file in stale[:20]:
        print(f"     {file}: listed as different and is the same now")
    check(
        name,
        not unexpected and not stale and not unclear,
        f"{len(reads)} files; {same} the same note for note, {by_rule} more with repeats played by the plain rule, {len(other_way)} differ for a known reason "
        f"({len(unexpected)} unexpected), {sum(cannot.values())} that music21 cannot give {dict(cannot)}; "
        f"refused with a reason: {sum(refused.values())} {dict(refused.most_common())}",
    )
    return read_here


def schema():
    """musicxml_4_0.xsd with its two imports replaced by stubs: it refers to a few xlink and xml attributes."""
    source = Path(musicxml.__file__).parent / "generate_classes" / "musicxml_4_0.xsd"
    folder = Path(tempfile.mkdtemp())
    text = source.read_text(encoding="utf-8")
    text = text.replace("http://www.musicxml.org/xsd/xml.xsd", "xml.xsd")
    text = text.replace("http://www.musicxml.org/xsd/xlink.xsd", "xlink.xsd")
    (folder / "musicxml_4_0.xsd").write_text(text, encoding="utf-8")
    attribute = '<xs:attribute name="{}" type="xs:string"/>'
    for file, space, names in [
        ("xml.xsd", "http://www.w3.org/XML/1998/namespace", ["lang", "space"]),
        ("xlink.xsd", "http://www.w3.org/1999/xlink", ["href", "type", "role", "title", "show", "actuate"]),
    ]:
        attributes = "".join(map(attribute.format, names))
        (folder / file).write_text(
            f'<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="{space}">{attributes}</xs:schema>'
        )
    return xmlschema.XMLSchema(str(folder / "musicxml_4_0.xsd"))


def written(tool, folder, reads, pool):
    """What we write: valid, read back by us and by music21 with the same notes."""
    valid = schema()
    expected = {Path(read["file"]).name: read for read in reads}
    invalid = []
    for file in expected:
        errors = list(valid.iter_errors(str(folder / f"{file}.musicxml")))
        if errors:
            invalid.append(f"{file}: {errors[0].reason}")
    check("schema MusicXML 4.0", not invalid, f"{len(expected) - len(invalid)} of {len(expected)} valid {invalid[:3]}")
    for extension in ["musicxml", "mxl", "abc", "toml"]:
        again = dump(tool, [folder / f"{file}.{extension}" for file in expected])
        wrong = []
        for read, again in zip(expected.values(), again):
            keys = ["events", "metre", "bpm"] + (["instrument"] if read["instrument"] else [])
            if "error" in again or any(read[key] != again[key] for key in keys):
                wrong.append(again.get("message", again["file"]))
        check(f"round trip {extension}", not wrong, f"{len(expected) - len(wrong)} of {len(expected)} {wrong[:3]}")
    for extension in ["musicxml", "mid"]:
        files = [str(folder / f"{file}.{extension}") for file in expected]
        wrong = []
        for read, other, file in zip(expected.values(), pool.map(theirs, files, chunksize=8), files):
            mine = ours(read)
            if extension == "mid" and not isinstance(other, str):
                # MIDI has no rests and counts in ticks: from the first note, to a thousandth of a quarter.
                first = mine[0][0]
                mine = [(round(float(a - first), 3), round(float(b), 3), c) for a, b, c in mine]
                other = [(round(float(a - other[0][0]), 3), round(float(b), 3), c) for a, b, c in other]
            if mine != other:
                wrong.append(f"{Path(file).name}: {other if isinstance(other, str) else difference(mine, other)}")
        check(f"music21 reads our {extension}", not wrong, f"{len(files) - len(wrong)} of {len(files)} {wrong[:5]}")


def split_tunes(folder):
    """Each tune of the corpora as a file of its own, marked as ABC 2.1."""
    files = []
    for corpus in CORPORA:
        for source in sorted(corpus.glob("*.abc")):
            text = source.read_text(encoding="utf-8", errors="replace")
            for at, tune in enumerate(("\n" + text).split("\nX:")[1:]):
                tune = tune.split("\n\n")[0]
                file = folder / f"{source.stem}-{at + 1}.abc"
                file.write_text(f"%abc-2.1\nX:{tune}\n", encoding="utf-8")
                files.append(file)
    return files


SUITE_KNOWN = {
    # The file prints a sharp on A and says no alter; music21 takes the sharp, we take the pitch and remark.
    "32c-MultipleNotationChildren.xml",
}
ABC_KNOWN = set()


def main():
    tool = build()
    folder = Path(tempfile.mkdtemp())
    suite = sorted(SUITE.glob("*.xml")) + sorted(SUITE.glob("*.mxl"))
    check("suite", len(suite) == 143, f"{len(suite)} files")
    with ProcessPoolExecutor(2) as pool:
        reads = compare("MusicXML suite", dump(tool, suite, folder), SUITE_KNOWN, pool)
        written(tool, folder, reads, pool)
        tunes = split_tunes(folder)
        if len(sys.argv) > 1:
            tunes = tunes[:: int(sys.argv[1])]
        reads = compare("ABC corpora", dump(tool, tunes, folder), ABC_KNOWN, pool)
        written(tool, folder, reads[::20], pool)
    sys.exit(1 if failures else 0)


if __name__ == "__main__":
    main()
