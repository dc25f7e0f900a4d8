"""Stages of the program beside their peers, each on one thread, in turns, as a table in Markdown.

Usage: compare.py KERNELS MOTEFIELD [MODULE], the last the live page's module, where it was built.
Every figure is processor time. A ratio compares the least times of all rounds; in brackets stand
the lowest and the highest ratio of a round.
"""

import os

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ[name] = "1"

import platform
import resource
import subprocess
import sys
import tempfile
import time

import cv2
import peers

cv2.setNumThreads(1)
KERNELS, MOTEFIELD, *MODULE = sys.argv[1:]
SAMPLE_S = 0.15
ROUNDS = 5


def kernel(name):
    return lambda: float(subprocess.run([KERNELS, name, str(SAMPLE_S)], check=True, capture_output=True).stdout)


def peer(run):
    def sample():
        begun, runs = time.process_time(), 0
        while True:
            run()
            runs += 1
            taken = time.process_time() - begun
            if taken >= SAMPLE_S:
                return taken / runs

    run()
    return sample


def command(*arguments, wall=False):
    """Processor time, or with `wall` the time by the clock, of a command of the program."""

    def sample():
        with tempfile.TemporaryDirectory() as folder:
            before, begun = resource.getrusage(resource.RUSAGE_CHILDREN), time.monotonic()
            line = [MOTEFIELD, *(a.replace("FOLDER", f"{folder}/out") for a in arguments)]
            subprocess.run(line, check=True, capture_output=True)
            clock, after = time.monotonic() - begun, resource.getrusage(resource.RUSAGE_CHILDREN)
            return clock if wall else after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime

    return sample


# A process of its own, since the system counts the memory of whoever starts a command as the command's.
PEAK = """import os, sys
child = os.posix_spawn(sys.argv[1], sys.argv[1:], os.environ)
_, status, usage = os.wait4(child, 0)
print(usage.ru_maxrss)
sys.exit(status != 0)
"""


def peak_memory(*arguments):
    """Most memory that a command of the program held at once, MB."""
    with tempfile.TemporaryDirectory() as folder:
        line = [sys.executable, "-S", "-c", PEAK, MOTEFIELD, *arguments, "--out", f"{folder}/out"]
        printed = subprocess.run(line, check=True, capture_output=True, text=True).stdout
        return int(printed.split()[-1]) / 1e3


def duration(s):
    return f"{s:.2f} s" if s >= 1 else f"{1e3 * s:.3g} ms" if s >= 1e-3 else f"{1e6 * s:.3g} us"


def fastest(make, batches):
    """The peer at the batch size at which it is fastest."""
    ready = [(batch, peer(make(batch))) for batch in batches]
    best = min(ready, key=lambda pair: pair[1]())
    return best[1], f", batches of {best[0]}"


def row(stage, name, ours, what, theirs, goal, rounds=ROUNDS):
    samples = [(ours(), theirs()) for _ in range(rounds)]
    least = [min(column) for column in zip(*samples)]
    ratios = sorted(b / a for a, b in samples)
    print(
        f"| {stage} | `{name}` | {duration(least[0])} | {what} | {duration(least[1])} "
        f"| **{least[1] / least[0]:.2g}** ({ratios[0]:.2g} to {ratios[-1]:.2g}) | {goal} |",
        flush=True,
    )


def beside(stage, name, what, theirs, goal, rounds=ROUNDS):
    row(stage, name, kernel(name), what, theirs, goal, rounds)


def processor():
    with open("/proc/cpuinfo") as info:
        models = [line.split(":")[1].strip() for line in info if line.startswith("model name")]
    return f"{len(models)} processors, {models[0]}" if models else platform.processor()


def main():
    load = os.getloadavg()
    print(f"""# Speed beside what people would otherwise write

Written by `results/speed` on {platform.system()} {platform.machine()}, {processor()}; load average
before the run {load[0]:.2f} over 1 min, {load[1]:.2f} over 5 min (above 0.2 the machine was not idle, and ratios scatter).
Program and peers take turns, {ROUNDS} rounds, one thread each, processor time; the ratio is peer over program, of the least
times, and in brackets that of the worst and the best round. Peers: `benches/peers/`, versions in its
`requirements.txt`; stages: `benches/kernels.rs`.

| stage | name | program | peer | peer takes | times as fast | goal |
|---|---|---|---|---|---|---|""")
    for flow in ("street", "turbulence"):
        name = f"displacement-{flow}"
        integrated = kernel(f"{name}-integrated")
        beside(f"displacement of 16,384 elements, {flow}", name, "integrated to 1e-9 px", integrated, "15")
    for streak, name in ((0.0, "light"), (2.0, "light-streak")):
        theirs = peer(peers.light(streak))
        beside(f"noise-free pair of 1024 x 1024 px, streak {streak:g} px", name, "numpy, scipy.special", theirs, "10", 3)
    for mean in (20, 500):
        theirs = peer(peers.sensor(float(mean)))
        beside(f"sensor, 1024 x 1024 px of {mean} e", f"sensor-{mean}", "numpy Generator (SFC64)", theirs, "6")
    batches = (16, 64, 256)
    for name, side, padded, count in (
        ("correlate-32", 32, False, 961),
        ("correlate-64", 64, False, 225),
        ("correlate-32-padded", 32, True, 961),
    ):
        stage = f"{count} windows of {side} x {side} px{', zero-padded' if padded else ''}"
        for make, what, goal in (
            (peers.scipy_transforms, "scipy.fft, transforms and product alone", "2"),
            (peers.fftw_transforms, "FFTW, transforms and product alone", "0.9"),
        ):
            theirs, size = fastest(lambda batch: make(side, padded, batch, count), batches)
            beside(stage, name, what + size, theirs, goal)
    theirs = peer(peers.phase_correlation(32, 961))
    beside("961 windows of 32 x 32 px", "correlate-32", "OpenCV phaseCorrelate", theirs, "-")
    theirs = peer(peers.passes(2048))
    beside("64 to 32 px, overlap 0.75, deformed, 2048 x 2048 px", "passes-2048", "numpy, scipy, OpenCV", theirs, "10")
    if MODULE:
        rig = "cases/flume.toml"
        ours = command("decide", rig, "--threads", "1", "--no-worth", "--no-enough", "--json")
        line = ["node", "benches/peers/page.mjs", MODULE[0], rig]
        theirs = lambda: float(subprocess.run(line, check=True, capture_output=True).stdout.split()[0])
        row("decision for the embedded rig", "decide", ours, "the live page's module (WebAssembly) in Node", theirs, "-", 2)

    print("\n| of the program alone | takes | goal |\n|---|---|---|")
    for stage, sample, goal in (
        ("particle fit, 256 x 256 px, processor time", kernel("particle-fit-256"), "0.3 s"),
        ("dense truth of 1024 x 1024 px, closed path", kernel("truth-uniform"), "-"),
        (
            "`render` of one pair of the embedded rig to disk, processor time",
            command("render", "cases/flume.toml", "--threads", "1", "--out", "FOLDER"),
            "0.1 s",
        ),
        (
            "`decide` on the embedded rig, two threads, by the clock",
            command("decide", "--threads", "2", "--out", "FOLDER", wall=True),
            "3 s",
        ),
        ("start-up (`--version`), by the clock", command("--version", wall=True), "30 ms"),
    ):
        print(f"| {stage} | {duration(min(sample() for _ in range(2)))} | {goal} |", flush=True)
    points = ("sweep", "cases/methods.toml", "--vary", "image.peak_electrons=200e,250e", "--precision", "0.0001")
    for stage, line, goal in (
        ("a study of two points, 600 pairs of 192 x 192 px", (*points, "--most-pairs", "300", "--out", "FOLDER"), "1.9"),
        ("`decide` on the embedded rig", ("decide", "--out", "FOLDER"), "-"),
    ):
        one, two = (command(*line, "--threads", threads, wall=True) for threads in ("1", "2"))
        taken = [(one(), two()) for _ in range(7)]
        one, two = (sum(column) / len(taken) for column in zip(*taken))
        figures = f"{one:.2f} and {two:.2f} s: {one / two:.2f}"
        print(f"| {stage}, on one and two threads in turns, means of {len(taken)} | {figures} | {goal} |", flush=True)
    point = ("sweep", "cases/methods.toml", "--vary", "image.peak_electrons=200e", "--precision", "0.0001")
    for stage, line in (
        ("a study of one point", (*point, "--most-pairs")),
        ("`render`", ("render", "cases/methods.toml", "--pairs")),
    ):
        few, many = (peak_memory(*line, pairs) for pairs in ("200", "2000"))
        taken = f"{few:.1f} and {many:.1f} MB: {many / few:.2f}"
        print(f"| peak memory of {stage}, 192 x 192 px, 200 and 2000 pairs | {taken} | 1.05 |", flush=True)


main()
