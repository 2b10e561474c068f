"""Takes whose truth is known, with what the program heard in them."""

import csv
import glob
import json
import os

import numpy as np


def finished_takes(folders):
    """The truth of each take that can be learnt from and the start of its files' names in CUES: abandoned attempts have
    notes that the truth does not list. `folders` are TAKES and CUES, one after the other."""
    for takes, cues in zip(folders[::2], folders[1::2]):
        for path in sorted(glob.glob(os.path.join(takes, "*.truth.json"))):
            truth = json.load(open(path))
            if not truth["restarts"] and truth["outcome"] == "judged":
                yield truth, os.path.join(cues, truth["take"])


def candidates(files):
    """Times of the candidates of a take, the log odds that were said and the cues."""
    rows = list(csv.reader(open(files + ".cues.csv")))
    values = np.array(rows[1:], float)
    return values[:, 0], values[:, 1], values[:, 2:]


def played_notes(truth):
    """Every note that was played, written or not."""
    return [n for n in truth["notes"] + truth["extra"] if n["onset_s"] is not None]
