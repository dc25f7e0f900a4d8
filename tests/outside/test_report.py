"""`motefield report --pdf` typeset by the library that the command typst is made of, and the PDF
read by another (pypdf): it says what the HTML says, on pages of A4, and a second one has the same
bytes."""

import html
import os
import re
import sys

import pypdf
import pytest

import conftest

# What a name and a comment could do to a document, were they not written as text.
NAME = 'rig-#panic("run")-<b>&.toml'
RIG = r"""# "] #panic("run") \ $x$ *bold*
[image]
size = [128, 128]
particle_diameter = "2.2 px"
electrons = "900 e"
[tracer]
particles_per_window = 30
[flow]
kind = "uniform"
displacement = ["2.3 px", "1.6 px"]
[processing]
passes = [{ window = 32, overlap = 0.5 }]
"""
# The command as it is called: compile SOURCE PDF.
TYPST = f"""#!{sys.executable}
import sys, typst
command, source, out = sys.argv[1:]
assert command == "compile"
typst.compile(source, output=out)
"""

A4_PT = (595.28, 841.89)


@pytest.fixture(scope="module")
def program(tmp_path_factory):
    """The program where typst is installed."""
    directory = tmp_path_factory.mktemp("report")
    command = directory / "bin" / "typst"
    command.parent.mkdir()
    command.write_text(TYPST)
    command.chmod(0o755)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("PATH", f"{command.parent}{os.pathsep}{os.environ['PATH']}")
        yield conftest.Program(directory)


@pytest.fixture(scope="module", params=["sweep", "decide"])
def study(request, program):
    """The directory of a finished study."""
    if request.param == "sweep":
        program.setup(RIG, NAME)
        program.run("sweep", NAME, "--vary", "image.electrons=100e,900e", "--most-pairs", 3, "--out", "sweep")
    else:
        small = [f for k in (0, 1) for f in ("--set", f"camera.size[{k}]=256")]
        program.run("decide", *small, "--limit", 0.5, "--most-pairs", 3, "--no-worth", "--out", "decide")
    return request.param


def letters(text):
    """What is left of a text when lines are broken elsewhere and words are hyphenated or spaced
    otherwise."""
    return re.sub(r"[\s\u00ad\u2010]+", "", text)


def elements(page, *tags):
    """The texts of elements of an HTML page that hold no others."""
    return [html.unescape(text) for tag in tags for text in re.findall(rf"<{tag}(?: [^>]*)?>([^<]*)</{tag}>", page)]


def test_the_pdf_says_what_the_html_says(program, study):
    program.run("report", study, "--pdf")
    pdf = pypdf.PdfReader(program.directory / study / "report.pdf")
    for page in pdf.pages:
        assert [float(v) for v in page.mediabox[2:]] == pytest.approx(A4_PT, abs=0.01)
    numbered = enumerate((page.extract_text() for page in pdf.pages), start=1)
    found = letters("".join(text.replace(f"{k} / {len(pdf.pages)}", "") for k, text in numbered))
    page = (program.directory / study / "report.html").read_text()
    # The names of a drawing's marks, which a browser shows beside the pointer, are not on paper.
    expected = [elements(page, "title")[0], *elements(page, "h2", "p", "li", "td", "th", "text")]
    assert len(expected) > 60
    missing = [text for text in expected if letters(text) not in found]
    assert not missing
    assert pdf.metadata.title == elements(page, "title")[0]
    # Lines of the setup, as they stand there.
    lines = [line for text in elements(page, "pre") for line in text.splitlines()]
    assert not [line for line in lines if letters(line) not in found]


def test_a_second_pdf_has_the_same_bytes(program, study):
    for name in ("first.pdf", "second.pdf"):
        program.run("report", study, "--pdf", "--out", name, "--force")
    first, second = ((program.directory / name).read_bytes() for name in ("first.pdf", "second.pdf"))
    assert first == second


def test_pictures_are_drawings(program, study):
    """Curves stay curves: what is drawn in the HTML's SVG is no bitmap."""
    program.run("report", study, "--pdf", "--out", "drawn.pdf", "--force")
    pdf = pypdf.PdfReader(program.directory / "drawn.pdf")
    bitmaps = sum(len(page.images) for page in pdf.pages)
    page = (program.directory / study / "report.html").read_text()
    # The same picture is kept once.
    assert bitmaps == len(set(re.findall("data:image/png;base64,[^\"]*", page)))
