"""Trains the offset model on takes with known truth and writes src/segment/offset_weights.rs.

    target/outside/venv/bin/python tests/training/train_offsets.py TAKES CUES

The folders are the first two of train_onsets.py: a borrowed voice's body rings on, and its truth does not know that.
It learns how much later the bow stopped than the level says, of right notes called right, from the sound around that
moment. The mean of four networks with one hidden layer of 8; prints cross-validated figures, grouped by take. The
random starts are fixed.
"""

import csv
import json
import sys

import numpy as np

from train_onsets import finished_takes, moving, written

# An offset is moved by at most so many seconds (src/segment/offset_model.rs).
FURTHEST = 0.2
# An onset further from its truth than this is another note's, in seconds.
ANOTHER_NOTE = 0.25


def offsets(folders):
    """Cues of each offset by the level, how much later the true one is, and the take."""
    x, y, groups = [], [], []
    for truth, files in finished_takes(folders):
        report = json.load(open(files + ".json"))
        said = {n["index"]: n for n in report["notes"] if n["verdict"] == "right"}
        true = {n["index"]: n for n in truth["notes"] if n["verdict"] == "right"}
        for row in csv.reader(open(files + ".offsets.csv")):
            index = int(row[0])
            if index not in said or index not in true:
                continue
            if abs(said[index]["onset_s"] - true[index]["onset_s"]) < ANOTHER_NOTE:
                x.append([float(v) for v in row[2:]])
                y.append(true[index]["offset_s"] - float(row[1]))
                groups.append(files)
    return np.array(x), np.array(y), np.array(groups)


def main():
    x, y, groups = offsets(sys.argv[1:])
    weights = moving("offsets", x, y, groups, FURTHEST)
    with open("src/segment/offset_weights.rs", "w") as out:
        out.write("//! Weights of the offset model, written by `tests/training/train_offsets.py`; not edited by hand.\n\n")
        out.write("#![allow(clippy::approx_constant)]\n\n")
        written(out, "", "Seconds from the level's offset to the true one", x.shape[1], *weights)


if __name__ == "__main__":
    main()
