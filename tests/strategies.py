"""Hypothesis strategies: images, and the text of hex files, good and spoilt. Nothing here imports the readers it tests."""

from hypothesis import strategies as st

from romwright.images.image import Image

LIMIT = 1 << 32
WINDOW = 60 << 20  # of the 64 MiB that an image may span

line_ends = st.sampled_from([b"\r\n", b"\n", b"\r", b"\r\r\n", b"\n\n"])
small = st.binary(min_size=1, max_size=80)
entries = st.none() | st.integers(1, 0xFFFF)  # 0 is left out: an S-record file cannot tell it from none
sizes = st.sampled_from([1, 15, 16, 17, 31, 32, 33, 255, 256, 257])


@st.composite
def images(draw, lowest=0, highest=LIMIT):
    """Images with gaps between `lowest` and `highest`, spanning less than 64 MiB, often close to a 64K border."""
    window = draw(st.sampled_from([0x200, 0x20000, 0x300000, WINDOW]).filter(lambda size: size <= highest - lowest))
    base = draw(st.integers(lowest, highest - window) | st.sampled_from([lowest, highest - window]))
    borders = st.integers(base >> 16, (base + window - 1) >> 16).map(lambda block: block << 16)
    near = st.builds(int.__add__, borders, st.integers(-40, 40))
    starts = draw(st.lists(st.integers(base, base + window - 1) | near, min_size=1, max_size=6))
    pieces, stop = [], base
    for start in sorted(starts):
        start = max(start, stop)
        data = draw(small | sizes.map(lambda size: bytes(i & 0xFF for i in range(size))))
        data = data[: max(base + window - start, 0)]
        pieces.append((start, data))
        stop = start + len(data)
    return Image.of(pieces, draw(entries))


def intel_line(kind, offset, data):
    """One Intel HEX record, written from the specification's words: the bytes of a record sum to 00."""
    record = bytes([len(data), offset >> 8, offset & 0xFF, kind, *data])
    return b":" + (record + bytes([-sum(record) & 0xFF])).hex().upper().encode()


def motorola_line(kind, address, data=b""):
    """One S-record: the bytes from the count on sum to FF."""
    record = address.to_bytes({0: 2, 1: 2, 2: 3, 3: 4, 4: 2, 5: 2, 6: 3, 7: 4, 8: 3, 9: 2}[kind], "big") + data
    record = bytes([len(record) + 1]) + record
    return b"S%d" % kind + (record + bytes([~sum(record) & 0xFF])).hex().upper().encode()


def word(value):
    return value.to_bytes(2, "big")


offsets = st.sampled_from([0, 1, 0x10, 0x20, 0x30, 0xFFF0, 0xFFF8, 0xFFFF]) | st.integers(0, 0xFFFF)
data_bytes = st.binary(max_size=40) | st.integers(0, 40).map(bytes) | st.just(bytes(250))

intel_records = st.lists(
    st.one_of(
        st.tuples(st.just(0), offsets, data_bytes),
        st.tuples(st.just(0), offsets, data_bytes),
        st.tuples(st.just(2), st.just(0), st.sampled_from([0, 1, 0x1000, 0xF000, 0xFFFF]).map(word)),
        st.tuples(st.just(4), st.just(0), st.sampled_from([0, 1, 2, 0x3FF, 0x400, 0xFFFF]).map(word)),
        st.tuples(st.sampled_from([3, 5]), st.just(0), st.binary(min_size=4, max_size=4)),
    ),
    max_size=25,
)

motorola_records = st.lists(
    st.one_of(
        st.tuples(st.just(1), offsets, data_bytes),
        st.tuples(st.just(2), st.integers(0, 0xFFFFFF) | offsets, data_bytes),
        st.tuples(st.just(3), st.integers(0, 0x4000100) | offsets | st.just(0xFFFFFFF0), st.binary(max_size=40)),
        st.tuples(st.sampled_from([0, 4]), offsets, st.binary(max_size=8)),
    ),
    max_size=25,
)


@st.composite
def texts(draw, lines):
    """Text of the given lines, with line ends of any kind, perhaps none at the end, perhaps in small letters."""
    ends = draw(st.lists(line_ends, min_size=len(lines), max_size=len(lines)))
    text = b"".join(line + end for line, end in zip(lines, ends, strict=True))
    return text.rstrip(b"\r\n") if draw(st.booleans()) else text


@st.composite
def mutated(draw, text, marks=b":S0123456789ABCDEFabcdefs \r\n\t\0\x1a;\xb2\xef\xff"):
    """The text after a few changes: bytes replaced, inserted, removed, doubled; the end cut off."""
    text = bytearray(text)
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(text)))
        what = draw(st.sampled_from(["replace", "insert", "remove", "double", "cut"]))
        if what == "replace":
            text[at : at + 1] = bytes([draw(st.sampled_from(marks))])
        elif what == "insert":
            text[at:at] = bytes(draw(st.lists(st.sampled_from(marks), min_size=1, max_size=3)))
        elif what == "remove":
            del text[at : at + draw(st.integers(1, 20))]
        elif what == "double":
            text[at:at] = text[at : at + draw(st.integers(1, 60))]
        else:
            del text[at:]
    return bytes(text)


@st.composite
def lines_of(draw, count, sources, states):
    """What so many lines carry: each source is followed at most once, stuck and joined lines among them."""
    from romwright.faults.lines import Law, Line

    rest = draw(st.permutations(range(sources)))
    carried = [Line.follows(source) for source in rest[:count]]
    for place in range(count):
        kind = draw(st.sampled_from(["follows", *states]))
        if kind == "stuck":
            carried[place] = Line.stuck(draw(st.integers(0, 1)))
        elif kind == "inverted":
            carried[place] = Line.inverted(rest[place])
        elif kind == "joined" and place + 1 < count:
            of = rest[place : place + 2]
            carried[place : place + 2] = [Line.joined(draw(st.sampled_from(list(Law))), of)] * 2
    return tuple(carried)


@st.composite
def line_maps(draw, widths=st.integers(1, 7)):
    """Line maps with any lines crossed, stuck, joined or inverted."""
    from romwright.faults.lines import LineMap

    width = draw(widths)
    address = draw(lines_of(width, width, ["stuck", "joined"]))
    return LineMap(address, draw(lines_of(8, 8, ["stuck", "joined", "inverted"])))
