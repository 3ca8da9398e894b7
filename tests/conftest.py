"""Settings for all tests."""

from hypothesis import settings

# A loaded machine must not turn a right answer into a failure; a failure prints how to replay it.
settings.register_profile("framesim", deadline=None, print_blob=True)
settings.load_profile("framesim")
