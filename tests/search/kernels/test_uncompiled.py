"""The kernels once more as plain Python, where a name that does not exist or a wrapped index shows."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from crowds import COMPILED

HERE = Path(__file__).parent
SUBSET = (
    "edges_cross or random_pairs or awkward or inside_rings or (leaving and holes) or (depth and holes) or slow_form"
    " or quarter_turns or (free and holes) or (afresh and far) or (shapely_says and holes)"
    " or stop_flag or side or no_room or slices or lowest_bit"
)


@pytest.mark.skipif(not COMPILED, reason="this is that run")
def test_kernels_hold_as_plain_python() -> None:
    """A few examples each.  Plain Python warns where numbers wrap round or divide by zero as they are meant to."""
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-W", "ignore::RuntimeWarning"]

    done = subprocess.run(
        [*command, "-k", SUBSET, str(HERE)],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        text=True,
        check=False,
        cwd=HERE.parents[2],
    )

    assert done.returncode == 0, done.stdout[-3000:]
