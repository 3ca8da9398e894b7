"""The exact residual error: every flip pattern counted, none drawn.

Read ``states`` (what a receiver must remember), ``line`` (one frame as that receiver meets it), ``same_content`` (what
is accepted but is no error) and ``reference`` (the method in plain Python); then the fast roads to the same numbers:
``patterns``, ``graded``, ``numeric``. Means over frames: ``forms``, ``survey``, ``over_frames``, ``means``, ``listed``.
The worst of many: ``worst``.
"""
