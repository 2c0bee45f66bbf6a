"""Work shared among processes: order kept, errors carried over, a lost helper noticed."""

import os

import pytest

from romwright.cli.shares import map_shares
from romwright.errors import RomwrightError

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="one share only without fork")


@pytest.fixture(autouse=True)
def three_processors(monkeypatch):
    monkeypatch.setattr(os, "cpu_count", lambda: 3)


def test_shares_come_back_in_order_from_other_processes():
    shares = map_shares(lambda items: [(os.getpid(), item) for item in items], range(8))
    assert [[item for _, item in share] for share in shares] == [[0, 3, 6], [1, 4, 7], [2, 5]]
    assert len({process for share in shares for process, _ in share}) == 3
    assert map_shares(list, []) == [[]]


def test_an_error_of_a_helper_is_raised_here():
    def work(items):
        if 1 in items:
            raise RomwrightError("found it", where="there", expected="nothing", help="look away")
        return list(items)

    with pytest.raises(RomwrightError) as caught:
        map_shares(work, range(3))
    assert (caught.value.found, caught.value.where, caught.value.help) == ("found it", "there", "look away")


def test_a_helper_that_dies_is_noticed():
    parent = os.getpid()
    with pytest.raises(RomwrightError, match="ended before its work was done"):
        map_shares(lambda items: list(items) if os.getpid() == parent else os.kill(os.getpid(), 9), range(3))
