"""The long run: `python -m tests.fuzz --examples 500 --seed 7`."""

from __future__ import annotations

import argparse
import os
import sys

import pytest

parser = argparse.ArgumentParser(description="Try every operation with many inputs.")
parser.add_argument("--examples", type=int, default=500, help="inputs for each operation")
parser.add_argument("--seed", type=int, default=1)
given = parser.parse_args()
os.environ["TRACEHOLD_FUZZ_EXAMPLES"] = str(given.examples)
os.environ["TRACEHOLD_FUZZ_SEED"] = str(given.seed)
sys.exit(pytest.main(["tests/fuzz", "-q", "-p", "no:cacheprovider"]))
