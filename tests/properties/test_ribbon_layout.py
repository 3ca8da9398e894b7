"""Laws of the ribbon's layout, for any names and any length."""

from collections import Counter
from itertools import pairwise

from hypothesis import given, settings
from hypothesis import strategies as st

import framesim
from framesim.report.ribbon import ASCII, BOXES, Gap, Strip, guard_of, hang_labels, ribbon_of, rows_of

TEXT = st.text(st.characters(categories=["Ll", "Lu"]), min_size=1, max_size=14)
LABELS = st.dictionaries(st.integers(0, 59), TEXT, max_size=20).map(lambda named: sorted(named.items()))


@settings(deadline=None)
@given(labels=LABELS)
def test_every_label_hangs_whole_below_its_own_column(labels):
    lines = hang_labels(labels, 78, ASCII)
    for column, text in labels:
        depth = next(depth for depth, line in enumerate(lines) if line[column : column + 1] == ASCII.corner)
        assert lines[depth][column + 1 :].startswith(text)
        assert lines[depth][column + 1 + len(text) :][:1] in ("", " ")
        assert all(line[column] == ASCII.leader for line in lines[:depth])


@settings(deadline=None)
@given(labels=LABELS, width=st.integers(20, 90))
def test_no_label_line_is_wider_than_allowed(labels, width):
    inside = [(column, text) for column, text in labels if column < width - 3]
    assert all(len(line) <= width for line in hang_labels(inside, width, BOXES))


@settings(deadline=None)
@given(
    n_bits=st.integers(1, 5000),
    per_row=st.sampled_from([10, 60, 100]),
    most=st.one_of(st.none(), st.integers(1, 900)),
    wanted=st.sets(st.integers(0, 5100), max_size=8),
)
def test_rows_and_gaps_cover_the_wire_once_and_show_what_matters(n_bits, per_row, most, wanted):
    rows = rows_of(n_bits, per_row, most=most, wanted=wanted)
    assert [row.start for row in rows] == [0, *[row.stop for row in rows[:-1]]]
    assert rows[-1].stop == n_bits
    shown = {place for row in rows if isinstance(row, Strip) for place in range(row.start, row.stop)}
    assert {place for place in wanted if place < n_bits} <= shown
    assert not any(isinstance(one, Gap) and isinstance(two, Gap) for one, two in pairwise(rows))
    if most is None:
        assert len(shown) == n_bits
    else:
        assert len(shown) <= most + (len(wanted) + 1) * per_row
        assert len(shown) >= min(n_bits, most) - per_row


@settings(deadline=None, max_examples=25)
@given(
    identifier=st.integers(0, 0x7FF),
    payload=st.binary(max_size=3),
    flips=st.sets(st.integers(0, 40), max_size=4),
)
def test_strips_say_of_each_bit_what_the_judge_says(identifier, payload, flips):
    sent = framesim.encode(framesim.CanFrame(identifier=identifier, payload=payload))
    seen = sent.flipped(flips)
    ribbon = ribbon_of(sent, seen=seen, flips=flips, at=len(sent) - 1, per_row=20)
    strips = ribbon.rows
    assert "".join(strip.levels for strip in strips) == seen.to01()
    assert [strip.start + column for strip in strips for column in strip.inserted] == list(sent.inserted)
    assert [strip.start + column for strip in strips for column in strip.flipped] == sorted(flips)
    assert [strip.start + strip.spoke for strip in strips if strip.spoke is not None] == [len(sent) - 1]
    alone = Counter()
    for place, guard in enumerate("".join(strip.guards for strip in strips)):
        judgement = framesim.judge(sent, sent.flipped([place]))
        assert guard == guard_of(judgement)
        assert guard == str(len(judgement.alone)) if judgement.alone else guard == "-"
        alone.update(judgement.alone)
    assert (ribbon.judged, dict(ribbon.alone)) == (len(sent), dict(alone))
