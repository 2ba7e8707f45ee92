"""Make the hand-made mold of the checks' tests known here too."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "checks"))
