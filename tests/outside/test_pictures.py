"""Pictures as other libraries write them: tifffile and Pillow. The grey levels are the same
whatever the file, so the vectors must be the same to the digit; what is not read is refused with
the reason and the remedy."""

import struct
import subprocess
import os

import numpy as np
import pytest
import tifffile
from PIL import Image

import recording

SCENE = dict(recording.random_scene(4), size=128, bits=12, flow="uniform", mean=[3.2, -1.7], loss=0.1)


@pytest.fixture(scope="module")
def frames():
    return recording.pair(SCENE, np.random.default_rng(3))


def packed(frame, bits=12):
    """Grey levels of 12 bits one after the other, most significant bits first, rows of whole
    bytes."""
    ones = (frame[:, :, None] >> np.arange(bits - 1, -1, -1)) & 1
    return np.packbits(ones.reshape(frame.shape[0], -1).astype(np.uint8), axis=1).tobytes()


def tiff_of_12_bits(path, frame, order):
    """A TIFF file by its specification (TIFF 6.0): one strip, no compression, 12 bits per pixel."""
    height, width = frame.shape
    data = packed(frame)
    e = {"little": "<", "big": ">"}[order]
    mark = {"little": b"II", "big": b"MM"}[order]
    short = lambda tag, v: struct.pack(e + "HHIHH", tag, 3, 1, v, 0)
    long = lambda tag, v: struct.pack(e + "HHII", tag, 4, 1, v)
    entries = [long(256, width), long(257, height), short(258, 12), short(259, 1), short(262, 1), long(273, 8)]
    entries += [short(277, 1), long(278, height), long(279, len(data))]
    head = mark + struct.pack(e + "HI", 42, 8 + len(data) + len(data) % 2)
    body = data + b"\0" * (len(data) % 2)
    path.write_bytes(head + body + struct.pack(e + "H", len(entries)) + b"".join(entries) + struct.pack(e + "I", 0))


def correlate(program, *arguments, out="v.csv"):
    program.run("correlate", *arguments, "--out", out, "--force")
    return (program.directory / out).read_text()


@pytest.fixture
def usual(program, frames):
    for name, frame in zip("ab", frames):
        tifffile.imwrite(program.directory / f"usual-{name}.tif", frame)
    return correlate(program, "usual-a.tif", "usual-b.tif")


KINDS = {
    "big-endian": lambda path, frame: tifffile.imwrite(path, frame, byteorder=">"),
    "signed": lambda path, frame: tifffile.imwrite(path, frame.astype(np.int16)),
    "32 bits": lambda path, frame: tifffile.imwrite(path, frame.astype(np.uint32)),
    "32 bits signed": lambda path, frame: tifffile.imwrite(path, frame.astype(np.int32)),
    "floating point": lambda path, frame: tifffile.imwrite(path, frame.astype(np.float32)),
    "strips": lambda path, frame: tifffile.imwrite(path, frame, rowsperstrip=7),
    "tiles": lambda path, frame: tifffile.imwrite(path, frame, tile=(64, 64)),
    "deflate": lambda path, frame: Image.fromarray(frame).save(path, compression="tiff_deflate"),
    "lzw": lambda path, frame: Image.fromarray(frame).save(path, compression="tiff_lzw"),
    "packed": lambda path, frame: tiff_of_12_bits(path, frame, "little"),
    "packed, big-endian": lambda path, frame: tiff_of_12_bits(path, frame, "big"),
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_tiff_gives_the_same_vectors(program, frames, usual, kind):
    for name, frame in zip("ab", frames):
        KINDS[kind](program.directory / f"{name}.tif", frame)
    assert correlate(program, "a.tif", "b.tif") == usual


RAW = {"u16le": "<u2", "u16be": ">u2", "i16le": "<i2", "i16be": ">i2", "u32le": "<u4", "i32be": ">i4", "f32le": "<f4", "f32be": ">f4"}


@pytest.mark.parametrize("sample", [*RAW, "u12packed"])
def test_raw_pictures(program, frames, usual, sample):
    body = [packed(f) if sample == "u12packed" else f.astype(RAW[sample]).tobytes() for f in frames]
    (program.directory / "pair.raw").write_bytes(b"head" * 4 + b"".join(body))
    assert correlate(program, "pair.raw", "--raw", f"128x128:{sample}:16") == usual


def test_png_and_the_ways_to_put_two_frames_into_one_file(program, frames, usual):
    directory = program.directory
    for name, frame in zip("ab", frames):
        Image.fromarray(frame).save(directory / f"{name}.png")
    assert correlate(program, "a.png", "b.png") == usual
    tifffile.imwrite(directory / "pages.tif", np.stack(frames), photometric="minisblack")
    assert correlate(program, "pages.tif") == usual
    tifffile.imwrite(directory / "high.tif", np.vstack(frames))
    assert correlate(program, "high.tif", "--double-height") == usual
    # A folder: frame 2 comes before frame 10.
    (directory / "folder").mkdir()
    for name, frame in zip(["im2.tif", "im10.tif"], frames):
        tifffile.imwrite(directory / "folder" / name, frame)
    (directory / "folder" / "notes.txt").write_text("no picture")
    assert correlate(program, "folder") == usual


def test_bmp_and_colours(program, frames):
    directory = program.directory
    shallow = [(f >> 4).astype(np.uint8) for f in frames]
    for name, frame in zip("ab", shallow):
        tifffile.imwrite(directory / f"{name}8.tif", frame)
        Image.fromarray(frame).save(directory / f"{name}.bmp")
        colours = np.stack([frame[::-1], frame, frame[:, ::-1]], axis=2)
        tifffile.imwrite(directory / f"{name}-rgb.tif", colours, photometric="rgb")
        Image.fromarray(colours).save(directory / f"{name}-rgb.png")
        Image.fromarray(colours).save(directory / f"{name}-rgb.bmp")
    usual = correlate(program, "a8.tif", "b8.tif")
    assert correlate(program, "a.bmp", "b.bmp") == usual
    for kind in ("tif", "png", "bmp"):
        assert correlate(program, f"a-rgb.{kind}", f"b-rgb.{kind}", "--channel", "green") == usual


@pytest.mark.parametrize(
    "write, reason",
    [
        (lambda p, f: Image.fromarray(np.stack([f] * 3, 2).astype(np.uint8)).save(p, "PNG"), "no channel is named"),
        (lambda p, f: Image.fromarray(f.astype(np.uint8)).save(p, "JPEG"), "cannot be used as a picture"),
        (lambda p, f: p.write_bytes(b"II*\0 and so on"), "cannot be used as a picture"),
        (lambda p, f: tifffile.imwrite(p, np.full_like(f, np.nan, dtype=np.float32)), "not finite"),
    ],
)
def test_what_is_not_read_is_told_with_the_remedy(program, frames, write, reason):
    for name, frame in zip("ab", frames):
        write(program.directory / name, frame)
    command = [os.environ["MOTEFIELD"], "correlate", "a", "b"]
    done = subprocess.run(command, cwd=program.directory, capture_output=True, text=True)
    assert done.returncode == 2
    assert reason in done.stderr and "save as grey TIFF of 16 bits" in done.stderr


def test_a_series_is_measured_pair_by_pair(program):
    """Mean and fluctuation over the pairs, against numpy; a steady flow has no fluctuation but the
    random error."""
    rng = np.random.default_rng(8)
    directory = program.directory
    (directory / "series").mkdir()
    for k in range(6):
        tifffile.imwrite(directory / "series" / f"{k}.tif", np.stack(recording.pair(SCENE, rng)), photometric="minisblack")
    program.run("correlate", "series", "--each", "out", "--uncertainty", "correlation-statistics")
    tables = [np.genfromtxt(directory / "out" / f"vectors-{k:05}.csv", delimiter=",", names=True, dtype=None, encoding="ascii") for k in range(6)]
    mean = np.genfromtxt(directory / "out" / "mean.csv", delimiter=",", names=True)
    valid = np.array([t["status"] == "valid" for t in tables])
    dx = np.array([t["dx_px"] for t in tables])
    u = np.array([t["u_x_px"] for t in tables])
    all_valid = valid.all(axis=0)
    assert np.count_nonzero(all_valid) > 0.8 * all_valid.size
    # The table keeps displacements as 32-bit numbers: 1e-6 px.
    assert np.allclose(mean["mean_dx_px"][all_valid], dx.mean(axis=0)[all_valid], atol=2e-6)
    expected = np.maximum(dx.var(axis=0, ddof=1) - np.mean(u**2, axis=0), 0)
    assert np.allclose(mean["variance_x_px2"][all_valid], expected[all_valid], atol=2e-6)
    deviation = np.sqrt(dx.var(axis=0, ddof=1) / 6)
    assert np.allclose(mean["u_mean_dx_px"][all_valid], deviation[all_valid], rtol=1e-2, atol=1e-6)
