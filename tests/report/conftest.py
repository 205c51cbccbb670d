"""The invented layout that most tests of reports use."""

import pytest
from report_layouts import sample_layout

from nesting.layout import Layout


@pytest.fixture
def sample() -> Layout:
    """Twelve pieces on a five-cornered plate with a hole and a clamp."""
    return sample_layout()
