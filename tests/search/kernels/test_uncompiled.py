"""The kernels once more as plain Python, where an index out of bounds or a lost name shows."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from crowds import COMPILED

HERE = Path(__file__).parent


@pytest.mark.skipif(not COMPILED, reason="this is that run")
@pytest.mark.parametrize("module", [f"test_{n}.py" for n in ("collide", "proxy", "pose", "separate", "settle")])
def test_kernels_hold_as_plain_python(module: str) -> None:
    """A few examples each.  Plain Python warns where numbers wrap round or divide by zero as they are meant to."""
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-W", "ignore::RuntimeWarning", HERE / module],
        env={**os.environ, "NUMBA_DISABLE_JIT": "1"},
        capture_output=True,
        text=True,
        check=False,
        cwd=HERE.parents[2],
    )

    assert done.returncode == 0, done.stdout[-3000:]
