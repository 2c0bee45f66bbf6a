"""What every image format keeps, stated once."""

from io import BytesIO

from romwright.images import formats


def parsed(module, text):
    """Parse text and return (image, the names of the findings' codes)."""
    image, findings = module.parse(BytesIO(text))
    return image, [finding.code.name for finding in findings]


def check_format(module, text, image, findings=()):
    """The whole contract of a format: text -> image and findings; image -> text -> the same image, no findings.

    What is written is recognised as this format, has CR LF line ends if it is text, and is the same each time.
    """
    found, codes = parsed(module, text)
    assert found == image
    assert sorted(codes) == sorted(findings)
    assert formats.sniff(text) is module
    built = module.build(image)
    again, codes = parsed(module, built)
    assert again == image
    assert codes == []
    assert formats.sniff(built) is module
    assert module.build(again) == built
    if built and module.NAME != "raw":
        assert built.count(b"\n") == built.count(b"\r\n") == built.count(b"\r")
        assert built.endswith(b"\r\n")
        assert max(map(len, built.splitlines())) <= 78  # the shortest limit any source names: srec(5)
