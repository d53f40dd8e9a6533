"""Writes pyin.csv: what a general-purpose estimator makes of the clean recordings, for comparison.

Needs the packages librosa (0.11.0 made the table) and soundfile.
The estimator is pYIN (M. Mauch, S. Dixon, ICASSP 2014), told the moment of the pluck and the range of a harp, and nothing
else of it. Its answer is the median of the frames that it calls voiced between 0.15 and 1.5 s after the pluck, or nothing.
"""

import csv
import pathlib

import librosa
import numpy
import soundfile

FRAME, HOP = 8192, 256

folder = pathlib.Path(__file__).resolve().parent.parent
with open(folder / "manifest.csv", newline="") as table:
    rows = [row for row in csv.DictReader(table) if row["cond"] == "clean"]
with open(folder / "reference" / "pyin.csv", "w", newline="") as table:
    out = csv.writer(table, lineterminator="\n")
    out.writerow(["file", "hz"])
    for row in rows:
        sound, rate = soundfile.read(folder / row["file"])
        hz, voiced, _ = librosa.pyin(sound, fmin=28.0, fmax=3600.0, sr=rate, frame_length=FRAME, hop_length=HOP)
        after = librosa.times_like(hz, sr=rate, hop_length=HOP) - float(row["pluck_s"])
        heard = hz[voiced & (after >= 0.15) & (after <= 1.5)]
        out.writerow([row["file"], f"{numpy.median(heard):.4f}" if len(heard) else ""])
