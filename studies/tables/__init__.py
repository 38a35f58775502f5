"""Results to words, numbers and tables; a module for each command, or for what several share.

Nothing is computed here but what telling needs. Lengths are in mm once they are in a table, as
their keys say, and are printed in mm and inches.
"""

from studies.tables.evidence import Evidence
from studies.tables.table import Column, Fact, Findings, Subject, Table

__all__ = ["Column", "Evidence", "Fact", "Findings", "Subject", "Table"]
