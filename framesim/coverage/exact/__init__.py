"""The exact residual error: every flip pattern counted, none drawn.

Read ``states`` (what a receiver must remember), ``line`` (one frame as that receiver meets it), ``reference`` (the
method in plain Python), then the fast roads to the same numbers: ``lookup``, ``spans``, ``graded``, ``numeric``.
"""
