"""A design's text in another folder: the files that it names come along, under plain names."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import PurePosixPath
from typing import Any

from studies.design.design import Design


def names_beside(design: Design, own: str) -> dict[str, str]:
    """Plain names of the files that a design names, in one folder with it, no two the same.

    Parameters
    ----------
    design : Design
    own : str
        Name of the design's file there.
    """
    beside: dict[str, str] = {}
    for name, _ in design.companions:
        plain = PurePosixPath(name.replace("\\", "/")).name
        while plain in (own, *beside.values()) and name not in beside:
            plain = f"other_{plain}"
        beside.setdefault(name, plain)
    return beside


def files_beside(design: Design, beside: Mapping[str, str]) -> dict[str, bytes]:
    """Those files, by their plain names."""
    return {plain: (design.path.parent / name).read_bytes() for name, plain in beside.items()}


def rename(node: Any, renamed: Mapping[str, str]) -> None:
    """Give every value of a document that is an old name its new one."""
    pairs = node.items() if isinstance(node, dict) else enumerate(node)
    for key, value in list(pairs):
        if isinstance(value, dict | list):
            rename(value, renamed)
        elif isinstance(value, str) and renamed.get(value, value) != value:
            node[key] = renamed[value]
