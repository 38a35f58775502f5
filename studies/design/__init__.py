"""The design file: reading, validating, one clear line for each mistake.

``read_design(path)`` gives a ``Design``, which is complete and free of clashes, or raises
``DesignError``, which names the file, the key and the remedy. ``design_schema()`` describes
the file to editors.

Modules: ``quantities`` (numbers with units), ``tables`` and ``reflector_tables`` (what is
built), ``room_table``, ``workshop_tables`` (making and measuring), ``study_tables`` (what is
asked), ``errors`` (mistakes in plain words), ``companions`` (other files that a design names),
``design`` (the result), ``reading`` (all of it in order), ``moves`` and ``parameters`` (a design
with some sizes changed).
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
