"""What is printed is harmless and plain."""

import pytest

from romwright.cli.render import inert


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("plain name.bin", "plain name.bin"),
        ("a\x1b[31mred", "a\\x1b[31mred"),
        ("two\nlines", "two\\x0alines"),
        (b"not utf-8 \xff".decode("utf-8", "surrogateescape"), "not utf-8 \\xff"),
        ("right to left \u202e", "right to left \\x202e"),
    ],
)
def test_control_characters_are_shown_not_sent(text, shown):
    assert inert(text) == shown
