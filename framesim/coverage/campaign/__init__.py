"""Campaigns: sampling cut into units that are computed anywhere, kept in a file, resumed and merged.

``work`` says what a unit is, ``identity`` which campaign it belongs to, ``store`` and ``merging`` how it is kept,
``rules`` when to stop, ``in_process``, ``processes`` and ``cluster`` who computes, and ``running`` joins them.
"""
