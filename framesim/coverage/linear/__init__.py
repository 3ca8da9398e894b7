"""The residual error of one frame on networks other than classic CAN: exact, or with rigorous limits.

Read ``answer`` (what is stated), ``framing`` (a receiver's states, read off the receiver itself) and ``flow`` (one
frame through these states, bit by bit); then a network: ``lin``, ``flexray``, ``can_fd``, ``ethernet``, ``sent``.
What a check inside the payload adds stands in ``end_to_end``. ``dispatch`` picks the method by the frame.
"""
