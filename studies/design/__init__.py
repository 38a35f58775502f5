"""The design file: reading, validating, one clear line for each mistake.

``read_design(path)`` gives a ``Design``, which is complete and free of clashes, or raises
``DesignError``, which names the file, the key and the remedy. ``design_schema()`` describes
the file to editors.

Rooms: ``quantities`` (numbers with units), ``tables`` and ``reflector_tables`` (what is
built), ``questions`` (what is asked), ``errors`` (plain words for mistakes), ``building``
(tables to shapes and sources), ``design`` (the result), ``reading`` (all of it in order).
"""

from studies.design.design import ContestEntry, Design, DesignFile, Seat
from studies.design.errors import DesignError, Mistake
from studies.design.reading import design_schema, parse_design, read_design

__all__ = [
    "ContestEntry",
    "Design",
    "DesignError",
    "DesignFile",
    "Mistake",
    "Seat",
    "design_schema",
    "parse_design",
    "read_design",
]
