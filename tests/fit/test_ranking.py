"""Rankings: links that make no difference are left out; of settings that work the plainer come first."""

import time

from fit.test_bus import CHIPS, TERN
from fit.test_nets import moved, study
from msgspec.structs import replace

from romwright.boards.model import Gate, Link
from romwright.fit.ranking import verdict_of


def with_idle(count):
    """The Tern with links that feed inverters whose outputs go nowhere, one ahead of its own links."""
    links = tuple(Link(f"K{n}", {"a": f"X{n} +5V", "b": f"X{n} GND"}) for n in range(count))
    gates = tuple(Gate(f"GX{n}", "inverter", f"X{n}", "NC") for n in range(count))
    return replace(TERN, links=(links[0], *TERN.links, *links[1:]), gates=(*TERN.gates, *gates))


def test_every_setting_is_ranked_idle_links_too():
    plain, ranked = dict(study(TERN).rank()), study(with_idle(3)).rank()
    assert ranked.idle == ["K0", "K1", "K2"] and ranked.live == [1, 2]
    found = list(ranked)
    assert len(ranked) == len(found) == len(dict(found)) == 8 * len(plain)
    assert all(codes == plain[positions[1:3]] == ranked.codes_at(positions) for positions, codes in found)
    verdicts = [verdict_of(codes) for _, codes in found]
    assert verdicts == sorted(verdicts, key=["works", "fault", "stop"].index)
    firsts = list(ranked.distinct())
    assert len(firsts) == len(plain) and all(at[0] == at[3] == at[4] == "a" for at in firsts)


def test_the_nearest_setting_leaves_idle_links_alone():
    ranked = study(with_idle(3)).rank()
    assert ranked.nearest(("b", "2-3", "1-2", "a", "b")) == ("b", "1-2", "1-2", "a", "b")


def test_many_idle_links_take_no_time():
    board = with_idle(18)
    begun = time.process_time()
    ranked = study(board).rank()
    assert ranked.nearest(("b", "2-3", "1-2", *["a"] * 17))[1] == "1-2" and len(ranked) == 4 << 18
    assert time.process_time() - begun < 2  # a million settings one by one take over five seconds


def test_a_strobe_on_an_enable_comes_before_a_rail():
    """The select is gated by the read strobe, so that /OE may be at GND; the file has that position first."""
    gates = (*TERN.gates, Gate("X1", "or", "/ROMSEL /RDS", "/READ"))
    links = (Link("LK1", {"gnd": "P22 GND", "strobe": "P22 /RDS"}),)
    board = moved({"P20": "/READ", "P27": "+5V", "/RDS": "P22"}, gates=gates, links=links)
    ranked = list(study(board, "27C256").rank())
    # A14 of the 27C256 is at +5 V: half of it shows, in either setting.
    assert [positions for positions, _ in ranked] == [("strobe",), ("gnd",)]
    assert ranked[0][1] == ranked[1][1] and verdict_of(ranked[0][1]) == "works"
    swapped = replace(board, links=(Link("LK1", dict(reversed(links[0].positions.items()))),))
    assert [positions for positions, _ in study(swapped, "27C256").rank()] == [("strobe",), ("gnd",)]


def test_twelve_volts_at_a_pin_that_is_not_used_come_last():
    """Pin 26 of the 2764 is not connected."""
    board = moved({"A13": "P26"}, rails=TERN.rails | {"+12V": 12})
    assert CHIPS["2764"].pins[25].function == "NC"
    for order in (["+12V", "+5V", "A13"], ["A13", "+12V", "+5V"]):
        links = (*TERN.links, Link("LK3", {node: f"P26 {node}" for node in order}))
        ranked = [
            (at, codes) for at, codes in study(replace(board, links=links), "2764").rank() if at[:2] == ("1-2",) * 2
        ]
        assert len({codes for _, codes in ranked}) == 1
        assert [at[2] for at, _ in ranked] == [node for node in order if node != "+12V"] + ["+12V"]
