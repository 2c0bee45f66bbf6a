"""Laws of the formats, over random images and texts; a second reader, line by line, is the witness."""

from io import BytesIO
from unittest.mock import patch

import pytest
import strategies
from contract import check_format, parsed
from hypothesis import given
from hypothesis import strategies as st
from strategies import images, intel_line, intel_records, motorola_line, motorola_records, mutated, texts

from romwright.errors import InputError, OverlapError, SpanError
from romwright.images import formats
from romwright.images.formats import intel, motorola, raw, records
from romwright.images.image import SPAN_LIMIT, Image

BOTH = pytest.mark.parametrize("module", [intel, motorola], ids=["intel", "motorola"])


@BOTH
@given(image=images(), record_bytes=st.sampled_from([1, 7, 16, 32, 250]))
def test_parse_undoes_build(module, image, record_bytes):
    check_format(module, module.build(image), image)
    assert parsed(module, module.build(image, record_bytes)) == (image, [])


@given(st.binary(max_size=5000))
def test_raw_round_trip(data):
    assert parsed(raw, data) == (Image.from_bytes(data), [])
    assert raw.build(Image.from_bytes(data)) == data


# A reader of one line at a time, written from the specifications and sharing nothing with the readers it judges.


def placed(lines, put):
    """Give each (address, byte) of the lines to a dict; None if an address is given two values."""
    memory, agreed = {}, True
    for line in lines:
        for address, byte in put(line):
            agreed &= memory.setdefault(address, byte) == byte
    return memory if agreed else None


class IntelWitness:
    """Places bytes by the specification's two formulas; without a base record, as if the address had no limit."""

    def __init__(self):
        self.base, self.kind, self.entry = 0, None, None

    def __call__(self, record):
        kind, offset, data = record
        value = int.from_bytes(data, "big")
        if kind == 0:
            for i, byte in enumerate(data):
                if self.kind == 2:
                    yield self.base + (offset + i) % 0x10000, byte
                else:
                    yield (self.base + offset + i) % (1 << 32), byte
        elif kind == 2:
            self.base, self.kind = value * 16, 2
        elif kind == 4:
            self.base, self.kind = value * 0x10000, 4
        elif kind == 3:
            self.entry = (value >> 16) * 16 + (value & 0xFFFF)
        elif kind == 5:
            self.entry = value


def motorola_witness(record):
    kind, address, data = record
    return ((address + i, byte) for i, byte in enumerate(data)) if kind in (1, 2, 3) else ()


def check_against(memory, entry, module, text):
    """Hold what a module reads against what the witness placed, refusals too."""
    if memory and max(memory) - min(memory) >= SPAN_LIMIT:
        with pytest.raises(SpanError):
            module.parse(BytesIO(text))
    elif memory is None:
        # The span is looked at first, and may be too large as well.
        with pytest.raises((OverlapError, SpanError)) as caught:
            module.parse(BytesIO(text))
        if isinstance(caught.value, OverlapError):
            assert caught.value.where.count("line ") == 2
    else:
        image, _ = module.parse(BytesIO(text))
        assert {s.start + i: byte for s in image.segments for i, byte in enumerate(s.data)} == memory
        assert image.entry == entry
        assert all(a.stop < b.start for a, b in zip(image.segments, image.segments[1:], strict=False))


@given(intel_records, st.data())
def test_intel_agrees_with_the_witness(lines, data):
    witness = IntelWitness()
    memory = placed(lines, witness)
    text = data.draw(texts([intel_line(*line) for line in lines] + [b":00000001FF"]))
    check_against(memory, witness.entry, intel, text)


@given(motorola_records, st.integers(1, 0xFFFF), st.data())
def test_motorola_agrees_with_the_witness(lines, entry, data):
    count = sum(kind in (1, 2, 3) for kind, _, _ in lines)
    text = data.draw(
        texts([motorola_line(*line) for line in lines] + [motorola_line(5, count), motorola_line(9, entry)])
    )
    check_against(placed(lines, motorola_witness), entry, motorola, text)


def outcome(module, text):
    """What becomes of a text: an image and findings (their order is not promised), or the words of the refusal."""
    try:
        image, findings = module.parse(BytesIO(text))
        return image, set(findings)
    except InputError as error:
        return type(error), str(error)


intel_texts = intel_records.flatmap(lambda lines: texts([intel_line(*line) for line in lines] + [b":00000001FF"]))
motorola_texts = motorola_records.flatmap(
    lambda lines: texts([motorola_line(*line) for line in lines] + [motorola_line(9, 0)])
)
any_text = st.one_of(intel_texts, motorola_texts).flatmap(mutated) | st.binary(max_size=300)


@BOTH
@given(text=any_text)
def test_whatever_is_wrong_is_an_input_error(module, text):
    outcome(module, text)  # anything but an image or an InputError comes through as a failure


@BOTH
@given(data=st.data())
def test_the_size_of_the_chunks_does_not_matter(module, data):
    lines = intel_records if module is intel else motorola_records
    line = intel_line if module is intel else motorola_line
    good = data.draw(texts([line(*record) for record in data.draw(lines) + data.draw(lines)]))
    text = data.draw(st.just(good) | mutated(good))
    whole = outcome(module, text)
    # No record is longer than 525 characters, and no chunk may be shorter than a record.
    with patch.object(records, "CHUNK_BYTES", data.draw(st.integers(530, 1200))):
        assert outcome(module, text) == whole


@given(text=intel_texts.filter(lambda text: not text.startswith((b"\r", b"\n"))))
def test_intel_is_recognised(text):
    assert formats.sniff(text[:4096]) is intel


@given(st.binary(max_size=2000).filter(lambda data: b":" not in data and b"S" not in data and b"s" not in data))
def test_other_bytes_are_not_recognised(data):
    assert formats.sniff(data) is raw


@given(st.binary(min_size=1, max_size=60), st.integers(0, 0xFFFF))
def test_the_writers_of_the_strategies_agree_with_the_library(data, offset):
    """The record writer of the strategies is itself held against the intelhex library."""
    from intelhex import Record

    assert strategies.intel_line(0, offset, data).decode() == Record.data(offset, list(data))
