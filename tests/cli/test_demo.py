"""romwright demo: the whole job, with every output left on disk."""

from pathlib import Path

TERN = Path(__file__).parents[2] / "fixtures" / "tern"
OUTPUTS = (
    "01-inspect", "02-lists", "03-identify", "04-stand-ins", "05-wire-as-linked", "06-links", "07-links-as-set",
    "08-plan", "09-prepare", "10-prove", "11-job",
)  # fmt: skip


def test_the_whole_job(romwright, tmp_path):
    run = romwright("demo", "tern")
    assert run.status == 0, run.err
    folder = tmp_path / "tern"
    assert (folder / "diagnostic-28C256.bin").read_bytes() == (TERN / "diagnostic.bin").read_bytes() * 2
    assert (folder / "dump-U7.bin").read_bytes() == (TERN / "logger-rotten.bin").read_bytes()
    answers = {name: (folder / f"{name}.txt").read_text("utf-8") for name in OUTPUTS}
    assert all(text.strip() and text in run.out for text in answers.values())
    assert "damaged" in answers["03-identify"] and "tern-logger.bin" in answers["03-identify"]
    assert "60 of 64 pages equal" in answers["03-identify"]
    assert "28C256" in answers["04-stand-ins"] and "27C512" in answers["04-stand-ins"]
    assert "stop (write-strobe)" in answers["05-wire-as-linked"]
    rows = [line.split() for line in answers["06-links"].splitlines() if line.startswith(("1-2", "2-3"))]
    assert ["2-3", "1-2", "ok", "ok", "fault", "STOP"] in rows and ["1-2", "2-3", "ok", "ok", "ok", "STOP"] in rows
    symptoms = " ".join(answers["07-links-as-set"].split())
    assert "would report all eight chips U10-U17 bad; nothing is wrong with them" in symptoms
    assert "Smallest change that makes it work: move LK1 from 2-3 to 1-2." in symptoms
    plan = " ".join(answers["08-plan"].split())
    assert "LK1: move from 2-3 to 1-2" in plan and "27 /ACC" not in plan and "On the whole board, wired so: works" in plan
    assert "gives the byte that the socket must show" in answers["10-prove"]
    assert (folder / "U7.svg").read_text("utf-8").startswith("<svg")
    assert (folder / "dump-U7.svg").read_text("utf-8").startswith("<svg")


def test_json_names_commands_and_their_status(romwright, tmp_path):
    run = romwright("demo", "tern", "--json")
    assert run.status == 0
    steps = run.json["steps"]
    assert [step["status"] for step in steps] == [0, 0, 1, 0, 1, 1, 1, 0, 0, 0, 1]
    assert all((tmp_path / "tern" / step["output"]).is_file() for step in steps)
    assert [step["output"] for step in steps] == sorted(step["output"] for step in steps)


def test_the_commands_can_be_typed_again(romwright, tmp_path):
    steps = romwright("demo", "tern", "--json").json["steps"]
    identify = next(step["command"] for step in steps if " identify " in step["command"])
    again = romwright(*identify.split()[1:], folder=tmp_path / "tern")
    assert again.status == 1 and "tern-logger.bin" in again.out


def test_two_runs_give_the_same_bytes(romwright, tmp_path):
    for name in ("one", "two"):
        assert romwright("demo", name).status == 0
    for path in sorted((tmp_path / "one").rglob("*")):
        if path.is_file() and path.suffix != ".lists":
            assert path.read_bytes() == (tmp_path / "two" / path.relative_to(tmp_path / "one")).read_bytes(), path


def test_a_folder_that_holds_something_is_left_alone(romwright, tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "precious").write_bytes(b"x")
    run = romwright("demo", "mine")
    assert run.status == 2 and "not empty" in run.err
    assert [p.name for p in (tmp_path / "mine").iterdir()] == ["precious"]


def test_a_file_is_no_folder(romwright, tmp_path):
    (tmp_path / "mine").write_bytes(b"x")
    run = romwright("demo", "mine")
    assert run.status == 2 and "a file, not a folder" in run.err
