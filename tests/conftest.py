"""Settings for all tests."""

from hypothesis import settings

# A loaded machine must not turn a right answer into a failure, and the suite gives the same verdict each time it is
# run on the same text. `pytest --hypothesis-profile=search` looks at fresh examples; what it finds becomes a test.
settings.register_profile("search", deadline=None, print_blob=True)
settings.register_profile("framesim", settings.get_profile("search"), derandomize=True, database=None)
settings.load_profile("framesim")
