"""A bench sheet as one HTML file that needs nothing else: for a phone at the bench, a screen, a printer.

No script, no network: the policy in its head allows its own style and nothing more. Every string is escaped by the
template; a picture is written anew from the elements that the reader of drawings knows.
"""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from html import escape
from pathlib import Path
from xml.etree.ElementTree import Element

from romwright.sheets.document import Sheet, is_unchecked
from romwright.sheets.text import NOTHING, UNCHECKED
from romwright.sheets.vectors import name_of, read_elements

HERE = Path(__file__).parent
LEFT_OUT = {"title", "style"}  # elements of a drawing that say nothing on a page


def build_page(sheet: Sheet) -> bytes:
    """Return the sheet as HTML; the same sheet gives the same bytes.

    Raises ValueError for a picture that this package has not made, TypeError for a block that is not of a sheet.
    """
    return template().render(sheet=sheet).encode("utf-8")


@cache
def template():
    """Return the template, with what it calls."""
    from jinja2 import Environment, StrictUndefined

    style = (HERE / "page.css").read_text("utf-8")
    environment = Environment(autoescape=True, undefined=StrictUndefined)
    environment.globals.update(
        style=style, style_hash=base64.b64encode(hashlib.sha256(style.encode("utf-8")).digest()).decode("ascii"),
        inline=inline, unchecked=is_unchecked, nothing=NOTHING, warning=UNCHECKED, refuse=refuse,
    )  # fmt: skip
    return environment.from_string((HERE / "page.html").read_text("utf-8"))


def inline(svg: bytes, caption: str) -> str:
    """Return a drawing for the middle of a page: known elements only, no names that could clash, sized by the page."""
    root = read_elements(svg)
    inside = "".join(map(written, root))
    head = f'<svg role="img" aria-label="{escape(caption)}" viewBox="{escape(root.get("viewBox", ""))}"'
    kept = "".join(f' {name}="{escape(root.get(name))}"' for name in ("font-family", "fill") if name in root.attrib)
    return f"{head}{kept}>{inside}</svg>"


def written(element: Element) -> str:
    """Return an element and what is in it as HTML."""
    name = name_of(element)
    if name in LEFT_OUT:
        return ""
    given = "".join(f' {key}="{escape(value)}"' for key, value in element.attrib.items())
    words = escape(element.text or "") if name == "text" else ""
    return f"<{name}{given}>{words}{''.join(map(written, element))}</{name}>"


def refuse(kind: str) -> None:
    """Raise TypeError for a block that the template does not know."""
    raise TypeError(f"no page for a {kind}")
