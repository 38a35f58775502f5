"""What goes to the shed: sheets at true size, outlines for machines, solids for printers.

`cutting` computes everything once, `cutting_files` makes the files. Sheets are drawn in
millimetres of paper; each carries a bar of 100 mm and a square of 50 mm, because a printer that
"fits to page" spoils every template.
"""

from studies.shed.cutting import Cutting, cutting
from studies.shed.files import cutting_files
from studies.shed.paper import ShedError

__all__ = ["Cutting", "ShedError", "cutting", "cutting_files"]
