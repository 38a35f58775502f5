"""SVG pictures inside a page: many of them in one document, each with names of its own."""

from __future__ import annotations

import re
from xml.etree import ElementTree

from markupsafe import Markup

SVG, LINK = "http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"
_REFERENCE = re.compile(r"url\(#([^)]+)\)")


def inline_svg(text: str, name: str) -> Markup:
    """Prepare an SVG document for a page that holds several.

    Parameters
    ----------
    text : str
        A whole SVG document as matplotlib writes it.
    name : str
        Put before every ``id`` and every reference to one, since they must differ on one page.

    Returns
    -------
    Markup
        The ``svg`` element, as wide as its frame, without the document's own description.
    """
    ElementTree.register_namespace("", SVG)
    ElementTree.register_namespace("xlink", LINK)
    root = ElementTree.fromstring(text)
    for described in root.findall(f"{{{SVG}}}metadata"):
        root.remove(described)
    for element in root.iter():
        for key, value in element.attrib.items():
            element.set(key, _renamed(key, value, name))
    for size in ("width", "height"):
        root.attrib.pop(size, None)
    root.set("aria-hidden", "true")  # the caption tells what it shows; its letters alone do not
    return Markup(ElementTree.tostring(root, encoding="unicode"))


def _renamed(key: str, value: str, name: str) -> str:
    if key == "id":
        return f"{name}-{value}"
    if key in ("href", f"{{{LINK}}}href") and value.startswith("#"):
        return f"#{name}-{value[1:]}"
    return _REFERENCE.sub(rf"url(#{name}-\1)", value)
