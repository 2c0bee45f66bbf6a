"""`--quiet`: only faults, stops and the result, before the command's name and behind it; the status stays."""

import pytest

from romwright.cli.quiet import Quiet, aloud, is_quiet


@pytest.fixture
def job(romwright, tmp_path):
    """A good image and a dump of it with rotten bits, and one that reads FF."""
    good = bytes((7 * n + (n >> 8) * 13) & 0xFF for n in range(8192))
    bad = bytearray(good)
    for at in range(3, 8192, 400):
        bad[at] |= 0x11
    for name, data in {"good.bin": good, "bad.bin": bytes(bad), "blank.bin": b"\xff" * 8192}.items():
        (tmp_path / name).write_bytes(data)
    romwright("lists", "add", "known", "good.bin")
    return romwright


CALLS = (
    ("compare", "good.bin", "bad.bin"), ("compare", "good.bin", "good.bin"), ("inspect", "blank.bin"),
    ("wire", "rom-23128-style-b", "28C256", "--polarity", "20=L,22=L,27=L"), ("wire", "27C256", "27C256"),
    ("links", "tern-tl-1", "U7", "27C512", "--now", "LK1=2-3,LK2=1-2"), ("links", "tern-tl-1", "U7", "27C512"),
    ("settle", "good.bin", "bad.bin"), ("repair", "bad.bin", "--reference", "good.bin"),
    ("identify", "good.bin", "bad.bin", "blank.bin"),
    ("prepare", "good.bin", "--for", "2764", "--overwrite", "-o", "out.bin"),
)  # fmt: skip


@pytest.mark.parametrize("words", CALLS, ids=lambda words: " ".join(words[:3]))
def test_quiet_leaves_lines_of_the_whole_answer(job, words):
    whole, before, behind = job(*words), job("--quiet", *words), job(*words, "--quiet")
    assert before == behind
    assert (before.status, before.err) == (whole.status, whole.err)
    kept, lines = before.out.split("\n"), iter(whole.out.split("\n"))
    assert all(any(line == each for each in lines) for line in kept if line and line != "blank.bin:")
    assert len(before.out) < len(whole.out)
    assert not any(line.startswith(("caution", "note", "Next", "Take care")) for line in kept)
    faults = [line for line in whole.out.split("\n") if line.startswith(("fault (", "stop ("))]
    assert [line for line in kept if line.startswith(("fault (", "stop ("))] == faults


@pytest.mark.parametrize("words", CALLS, ids=lambda words: " ".join(words[:3]))
def test_json_is_the_same(job, words):
    assert job("--quiet", *words, "--json") == job(*words, "--json")


@pytest.mark.parametrize("words", [("parts", "list"), ("boards", "show", "tern-tl-1"), ("explain",), ("lists", "show")])
def test_what_looks_something_up_prints_it_all_the_same(romwright, words):
    assert romwright("--quiet", *words) == romwright(*words) == romwright(*words, "--quiet")


def test_results_are_kept(job):
    assert "written: w.svg" in job("wire", "27C256", "27C256", "--svg", "w.svg", "--quiet").out
    assert job("--quiet", "compare", "good.bin", "good.bin").out == "identical: 8,192 bytes\n"
    assert "LK1 from 2-3 to 1-2" in job("--quiet", *CALLS[5]).out
    assert job("--quiet", *CALLS[-1]).out.startswith("SHA-256 ")


def test_a_fault_says_of_which_file_it_is(job, tmp_path):
    (tmp_path / "a.hex").write_text(":0100000001FE\n")
    (tmp_path / "b.hex").write_text(":0100000001FE\n:00000001FF\n")
    run = job("--quiet", "inspect", "b.hex", "a.hex")
    assert run.status == 1 and run.out.startswith("a.hex:\nfault (missing-end)")


def test_an_error_is_as_loud_as_ever(romwright):
    assert romwright("--quiet", "inspect", "nothing.bin") == romwright("inspect", "nothing.bin")
    assert romwright("inspect", "nothing.bin", "--quiet").status == 2


def test_output_is_swallowed_but_for_what_is_aloud(capsys):
    import contextlib
    import sys

    with contextlib.redirect_stdout(Quiet(sys.stdout)):
        print("swallowed")
        assert is_quiet()
        with aloud():
            assert not is_quiet()
            print("heard")
        print("swallowed")
    assert capsys.readouterr().out == "heard\n"
