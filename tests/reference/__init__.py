"""Numbers from outside that the tests compare with, each file with its sources.

``provenance`` of a number: D printed in a document, L output of the named library,
O the stated formula worked out once, M from memory.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any


def reference(name: str) -> dict[str, Any]:
    """Return the content of one file of this folder."""
    return json.loads((Path(__file__).parent / f"{name}.json").read_text(encoding="utf-8"))
