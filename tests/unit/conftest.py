"""Makes `small` importable beside the unit tests, which are no package."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
