"""A book of frames that Ctrl-C caught while it was written goes on to give right frames: campaigns keep their books."""

import numpy as np
import pytest

from framesim.coverage import frame_book
from framesim.coverage.lines import lines_of
from framesim.coverage.scenario import load_scenario
from framesim.coverage.traffic import Traffic

SCENARIO = load_scenario(None)
SLOTS = np.arange(40)


def book():
    return lines_of(SCENARIO, Traffic(SCENARIO))["sent"].slots.book


@pytest.mark.parametrize("laid", [0, 1, 7])
def test_edges_after_an_interruption_are_those_of_a_fresh_book(laid, monkeypatch):
    real, left = frame_book.falling_edges, iter(range(laid))

    def interrupted(wire):
        if next(left, None) is None:
            raise KeyboardInterrupt
        return real(wire)

    used = book()
    used.edges(SLOTS[:3])
    monkeypatch.setattr(frame_book, "falling_edges", interrupted)
    with pytest.raises(KeyboardInterrupt):
        used.edges(SLOTS)
    monkeypatch.undo()
    for slot in SLOTS.tolist():  # also a slot alone, whose frame may have been the last to be laid out
        assert used.edges(SLOTS[slot : slot + 1]).tolist() == [real(used.wire(slot)).tolist()]
    assert np.array_equal(used.edges(SLOTS), book().edges(SLOTS))
