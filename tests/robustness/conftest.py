"""Makes `strategies` importable beside these tests, which are no package."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
