"""How the parts of these tests are cut: 6 mm mild steel by plasma, kerf 1.6 mm."""

import pytest

from nesting.fit.finding import Cutting


@pytest.fixture
def plasma() -> Cutting:
    return Cutting(process="plasma", thickness_mm=6.0, kerf_mm=1.6, amps=45.0, material="mild steel")
