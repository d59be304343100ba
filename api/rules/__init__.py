"""Decision and uncertainty maths: pure functions on frozen values, no framework and no storage.

Reads the standard library, NumPy and scipy.special only. Start at `decide` for one result, at
`vector` for columns of results and at `decide_frame` for a data frame in a script.
"""

from typing import Any

# Stored with every decision and recall: which maths gave the answer.
ENGINE_VERSION = "0.1.0"


def __getattr__(name: str) -> Any:
    # Not before it is asked for: a rule alone needs neither NumPy nor SciPy.
    if name == "decide_frame":
        from api.rules.frame import decide_frame

        return decide_frame
    raise AttributeError(name)
