"""The hint at crossed data lines: on the Tern's program and on real system ROMs, and silence where there is nothing."""

from pathlib import Path

import numpy as np
import pytest
from line_faults import IMAGES, load

from romwright.recognition.cpus import judge_cpus
from romwright.recognition.crossings import find_crossings, slips

LOGGER = (Path(__file__).parents[2] / "fixtures" / "tern" / "logger.bin").read_bytes()
REAL = {name: data.tobytes() for name, data in load(IMAGES).items() if len(data) <= 1 << 17}


def hints(data):
    return list(find_crossings(data, 0, judge_cpus(data)))


def test_every_slip_undoes_itself():
    for words, table in slips():
        assert sorted(table) == list(range(256)) and table.translate(table) == bytes(range(256)), words
    assert len({table for _, table in slips()}) == 39


@pytest.mark.parametrize(("words", "table"), slips(), ids=[words for words, _ in slips()])
def test_the_logger_through_any_slip(words, table):
    seen = LOGGER.translate(table)
    if judge_cpus(seen)[0].cpu != "unknown":
        assert hints(seen) == []
        return
    (found,) = hints(seen)
    assert words in found.title and "6502" in found.title and "no proof" in found.evidence
    assert found.severity == "note"


@pytest.mark.skipif(not REAL, reason="needs the Debian packages seabios, vgabios, ipxe-qemu")
@pytest.mark.parametrize("name", REAL)
def test_no_hint_on_real_images_as_they_are(name):
    assert hints(REAL[name]) == []


def test_no_hint_on_random_bytes_text_and_what_is_empty():
    rng = np.random.default_rng(9)
    for _ in range(20):
        assert hints(rng.integers(0, 256, 8192, np.uint8).tobytes()) == []
    assert hints(b"THE TIDE IS HIGH AT NOON. " * 300) == []
    assert list(find_crossings(b"\xff" * 4096, 0, ())) == []
