"""Claims about error coverage, each proven, refuted, bounded or left open; and evidence that another can replay.

Read ``subject`` and ``claim`` (what is claimed), ``reading`` (from a file), ``finding`` (what was found), then how each
kind is decided: ``flips``, ``bursts``, ``rates``, ``shares``, ``of_codes``; ``checking`` joins them. ``evidence``
writes a folder that ``verifying`` repeats. The tool states evidence; it certifies nothing.
"""
