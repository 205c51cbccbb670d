"""Settings of the whole suite."""

from hypothesis import settings

settings.register_profile("oddplate", deadline=None, max_examples=50)
settings.load_profile("oddplate")
