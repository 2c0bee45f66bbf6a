"""The example that every command's help shows can be typed as it stands in the demo's folder."""

import re
import shlex
import shutil
import subprocess
import sys

import click
import pytest

from romwright.cli.main import COMMANDS, root


def every_command():
    """Yield the words of every command, those within groups too."""
    context = click.Context(root, info_name="romwright")
    for name in COMMANDS:
        command = root.get_command(context, name)
        yield (name,)
        if isinstance(command, click.Group):
            yield from ((name, each) for each in command.list_commands(context))


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """The demo's inputs and what its steps left behind."""
    folder = tmp_path_factory.mktemp("job") / "tern"
    subprocess.run([sys.executable, "-m", "romwright", "demo", str(folder)], check=True, stdout=subprocess.DEVNULL)
    return folder


@pytest.mark.parametrize("words", [*every_command()], ids=" ".join)
def test_the_example_of_the_help_runs(romwright, demo, tmp_path, words):
    shown = romwright(*words, "--help").out
    assert "--quiet" in shown or "Commands:" in shown
    assert shown.count("Example: romwright ") == 1
    example = re.search(r"Example: romwright ((?:.*\\\n)*.*)", shown)[1].replace("\\\n", " ")
    assert example.startswith(" ".join(words))
    folder = tmp_path / "folder"
    shutil.copytree(demo, folder)
    for number, line in enumerate(example.split(" && ")):
        run = romwright(*shlex.split(line)[bool(number) :], folder=folder)
        assert run.status in (0, 1), f"{line}\n{run.err}"
        assert run.out
