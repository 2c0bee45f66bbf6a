"""Every rule for a job's file has a bad file that breaks it; a file that `job new` writes breaks none."""

import inspect
import re
from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from romwright import datafiles
from romwright.errors import DataFileError
from romwright.jobs import rules
from romwright.jobs.draft import Answers, build_job
from romwright.jobs.library import read_job, require_sound
from romwright.jobs.model import After, Contents, Dump, Fit, Job, Label, Outputs

README = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
BAD = sorted((Path(__file__).parents[2] / "fixtures" / "bad" / "jobs").glob("*.toml"))
words = st.text(st.characters(blacklist_categories=("Cs",)), max_size=30)


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_a_bad_job_breaks_its_rule(path):
    with pytest.raises(DataFileError) as caught:
        read_job(path)
    assert any(fault.endswith(f"[{path.stem}]") for fault in caught.value.faults), caught.value.faults


def test_every_rule_has_a_bad_file():
    source = "".join(inspect.getsource(module) for module in (rules, datafiles))
    named = set(re.findall(r"\[([a-z]+(?:-[a-z]+)*)\]['\"]", source))
    assert named == {path.stem for path in BAD}


@given(words.filter(str.strip), words, words, words)
def test_what_is_drafted_is_read_back(title, why, now, polarity):
    answers = Answers(title=title, why=why, now=now, chip="28C256", board="tern-tl-1", socket="U7", name="U7")
    job = require_sound(build_job(answers, Path()), "job.toml")
    assert (job.title, job.why, job.fit.now, job.fit.polarity) == (title, why, now, "")


def test_inputs_are_recorded(tmp_path):
    (tmp_path / "a.bin").write_bytes(b"123456789")
    answers = Answers(title="t", contents=("a.bin@100",), chip="2716", original="2716", name="x")
    job = require_sound(build_job(answers, tmp_path), "job.toml")
    assert job.inputs == ("a.bin",)
    # SHA-256 of the nine digits, as coreutils' sha256sum prints it
    assert job.expected["a.bin"]["sha256"] == "15e2b0d3c33891ebb0f1ef609ec419420c20e320ce94c65fbc8c3312448eb225"


def keys_of(kind):
    return [field.encode_name for field in msgspec.structs.fields(kind)]


def test_the_readme_has_every_key():
    told = README[README.index("**The file of a job.**") :]
    tables = {"contents": Contents, "fit": Fit, "label": Label, "outputs": Outputs, "after": After}
    for name, kind in tables.items():
        row = next(line for line in told.splitlines() if line.startswith(f"| `[{name}]`"))
        assert set(keys_of(kind)) <= set(re.findall(r"`([a-z_]+)`", row)), name
    assert all(f"`{key}`" in told or f"[{key}]" in told for key in (*keys_of(Job), *keys_of(Dump)))
    (example,) = re.findall(r"```toml\n(title.*?)```", told, re.DOTALL)
    assert [fit.label for fit in require_sound(example, "README.md").fits] == ["even", "odd"]
