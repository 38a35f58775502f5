"""Makes `compare` importable beside its test, which is no package."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
