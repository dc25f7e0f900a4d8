"""The program as the checks use it: through its command line and the files it writes."""

import csv
import json
import os
import subprocess
from pathlib import Path

import numpy as np
import pytest
import tifffile


class Program:
    """Runs `motefield` in a directory of its own."""

    def __init__(self, directory):
        self.directory = Path(directory)

    def run(self, *arguments):
        """Standard output; a failure shows what the program said."""
        done = subprocess.run(
            [os.environ["MOTEFIELD"], *map(str, arguments)],
            cwd=self.directory,
            capture_output=True,
            text=True,
            timeout=900,
        )
        assert done.returncode == 0, f"motefield {' '.join(map(str, arguments))}:\n{done.stderr}"
        return done.stdout

    def json(self, *arguments):
        return json.loads(self.run(*arguments, "--json"))

    def setup(self, text, name="setup.toml"):
        (self.directory / name).write_text(text)
        return name

    def render(self, setup, pairs=1, seed=1, out="pairs", *more):
        """The directory with the pairs of a setup given as text."""
        file = self.setup(setup, f"{out}.toml")
        self.run("render", file, "--pairs", pairs, "--seed", seed, "--out", out, *more)
        return Pairs(self.directory / out, pairs)

    def correlate(self, a, b, setup, out="vectors.csv"):
        """The table of vectors of a pair of image files, as a structured array."""
        file = self.setup(setup, "processing.toml")
        self.run("correlate", a, b, "--setup", file, "--out", out, "--force")
        return vectors(self.directory / out)


# Columns of words; the second is there only where something must be said of the vectors.
WORDS = ["status", "caveats"]


def vectors(path):
    """vectors.csv as arrays by column."""
    with open(path, newline="") as file:
        rows = list(csv.DictReader(file))
    columns = {name: [row[name] for row in rows] for name in rows[0]}
    return {name: np.array(column, dtype=None if name in WORDS else float) for name, column in columns.items()}


class Pairs:
    """What `motefield render` wrote."""

    def __init__(self, directory, count):
        self.directory, self.count = directory, count

    def files(self, k):
        return [self.directory / f"pair-{k:05}-{frame}.tif" for frame in "ab"]

    def frames(self, k):
        """Both frames as float64; lossless from 16-bit grey levels and from 32-bit floats."""
        return [tifffile.imread(file).astype(float) for file in self.files(k)]

    def particles(self, k):
        """The lists of the particles in both frames (rendered with --particles), as structured
        arrays.
        """
        files = [self.directory / f"particles-{k:05}-{frame}.csv" for frame in "ab"]
        return [np.genfromtxt(file, delimiter=",", names=True, dtype=None, encoding="ascii", ndmin=1) for file in files]

    def truth(self, k):
        return np.load(self.directory / f"truth-{k:05}.npy")


@pytest.fixture
def program(tmp_path):
    return Program(tmp_path)
