"""Settings for all tests: random examples are the same in every run, and slow machines do not fail them."""

try:
    from hypothesis import settings
except ImportError:  # The bare environments of other Blenders may come without it; then no test of theirs needs it.
    pass
else:
    settings.register_profile("linkwright", derandomize=True, deadline=None, database=None)
    settings.load_profile("linkwright")
