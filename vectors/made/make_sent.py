"""Makes ``sent.json``: SENT frames as ticks, what a sender puts out and what a receiver must make of what it sees.

How many nibbles there are, which form the CRC has and whether a pause pulse follows is not on the wire. The answers
here are those of a receiver that knows none of it: it takes nibbles until a pulse is longer than 27 ticks, and
accepts either form. Every case with a frame is chosen so that a receiver that does know the frame's data sheet says
the same at the same tick.

Source: SAE J2716.
"""

from collections.abc import Iterable
from itertools import combinations
from typing import Any

from bitarray import bitarray
from writing import Group, VectorFile

from framesim import SentFrame, encode, receive
from framesim.codes import sent_crc
from framesim.networks.sent import SENT

FILE = VectorFile("sent")
REST = 40  # resting ticks after a frame: enough to see that a pulse is no nibble, whatever the sync pulse was

ORDINARY = FILE.note("Ordinary", "BASIC", "a plain frame", "the order or the width of pulses")
LEGACY = FILE.note(
    "LegacyCrc",
    "BASIC",
    "the CRC without the trailing zero nibble",
    "only the recommended form is known",
)
PAUSED = FILE.note(
    "PausePulse", "BASIC", "a pause pulse of 28 ticks or more", "a pause pulse is taken for a nibble or an error"
)
WIDEST = FILE.note(
    "Extremes",
    "BOUNDARY",
    "nibbles of 12 and of 27 ticks",
    "a bound of the nibble's width is off by one",
)
LOW = FILE.note(
    "LowTime",
    "TOLERANCE",
    "pulses are low for another time than five ticks",
    "widths are measured from a rising edge, or the low time is held to be fixed",
)
TICK = FILE.note(
    "OtherTick",
    "TOLERANCE",
    "all pulses are longer or shorter in proportion, up to a quarter",
    "nibbles are not measured by the sync pulse of their frame",
)
BEFORE = FILE.note(
    "Before",
    "TOLERANCE",
    "the wire rests before the frame, or bears pulses that are no sync pulse",
    "the first pulse is taken for a sync pulse, or its end is not tried as the beginning of one",
)
NARROW = FILE.note(
    "TooNarrow",
    "DETECTION",
    "a pulse of less than 12 ticks",
    "widths are not looked at, and only four bits of the difference are kept",
)
WRONG_CRC = FILE.note(
    "WrongCrc",
    "DETECTION",
    "well-formed pulses whose CRC is wrong",
    "the CRC is not compared, or the status nibble is counted in, or the error is spoken at the wrong tick",
)
EDGE = FILE.note(
    "EdgeMoved",
    "DETECTION",
    "a falling edge is one tick early or late: two neighbours change by one",
    "the CRC is computed wrongly: it sees every such pair among data and CRC",
)
COUNT = FILE.note(
    "NibbleCount", "DETECTION", "no data nibble, or more than six", "the number of nibbles is not limited"
)
SINGLE = FILE.note(
    "SingleFlip",
    "DETECTION",
    "one tick is inverted where that makes two edges more",
    "any one check is weaker than it should be",
)
SYNC = FILE.note(
    "SyncLost",
    "INCOMPLETE",
    "no pulse is within a quarter of 56 ticks",
    "any first pulse is taken for a sync pulse",
)
CUT = FILE.note(
    "WireEnds",
    "INCOMPLETE",
    "the wire ends before the pulse after the CRC is known to be no nibble",
    "a verdict is given on half a frame, or the end of the wire raises",
)
PASSES = FILE.note(
    "FlipsUnseen",
    "RESIDUAL",
    "few flips, and another frame is accepted",
    "the frame is refused: then some ticks are not read as the standard says",
)

SIX = SentFrame(status=3, nibbles=(7, 4, 8, 7, 4, 8))
ONE = SentFrame(status=12, nibbles=(9,))
PAUSE = SentFrame(status=5, nibbles=(15, 0, 6), pause=77)
OLD = SentFrame(status=0, nibbles=(1, 13, 2, 6), crc_form="legacy")
KINDS = (("six nibbles", SIX), ("one nibble", ONE), ("with a pause", PAUSE), ("legacy CRC", OLD))


def pulses(*ticks: int, low: int = 5) -> str:
    """Return pulses as ticks."""
    return "".join("0" * min(low, width - 1) + "1" * (width - min(low, width - 1)) for width in ticks)


def widths(frame: SentFrame) -> list[int]:
    """Return the pulses of ``frame`` from the sync pulse to the CRC."""
    crc = sent_crc(frame.nibbles, legacy=frame.crc_form == "legacy")
    return [56, *(12 + nibble for nibble in (frame.status, *frame.nibbles, crc))]


def knowing(frame: SentFrame, seen: bitarray) -> tuple[bool, Any, int | None, Any]:
    """Return what a receiver that knows the data sheet makes of ``seen``."""
    assert SENT.configured_for is not None
    got = receive(seen + 800 * bitarray("1"), SENT.configured_for(frame))
    return got.accepted, got.check, got.at, got.frame


def agreed(frame: SentFrame, flips: Iterable[int]) -> bool:
    """Tell whether receivers with and without the data sheet say the same of ``frame`` with ``flips``."""
    seen = encode(frame).flipped(flips) + REST * bitarray("1")
    got = receive(seen, "sent")
    return (got.accepted, got.check, got.at, got.frame) == knowing(frame, seen)


def plain_frames() -> None:
    """Frames as sent: every count of nibbles, every value, both forms, pauses."""
    group = FILE.group("frames-as-sent", "saej2716")
    group.sent(SIX, "the published example: 7 4 8 7 4 8 has CRC 3", ORDINARY)
    for size in range(1, 7):
        nibbles = (11, 2, 13, 4, 15, 6)[:size]
        group.sent(SentFrame(status=size, nibbles=nibbles), f"{size} nibbles", ORDINARY)
        group.sent(SentFrame(status=size, nibbles=nibbles, crc_form="legacy"), f"{size} nibbles, legacy", LEGACY)
    for value in range(16):
        group.sent(SentFrame(status=15 - value, nibbles=(value, value)), f"nibbles of {value}", ORDINARY)
    for value in (0, 15):
        group.sent(SentFrame(status=value, nibbles=(value,) * 6), f"all nibbles {value}", WIDEST)
    for pause in (28, 56, 100, 768):
        group.sent(SentFrame(status=1, nibbles=(5, 10), pause=pause), f"a pause of {pause} ticks", PAUSED)


def tolerated() -> None:
    """Other low times, other ticks, and things before the frame."""
    group = FILE.group("taken-as-they-come", "saej2716")
    for low in (1, 3, 4, 6, 9, 11):
        wire = pulses(*widths(SIX), 40, low=low)
        group.made(wire, f"pulses low for {low} ticks", LOW, expect="accepted", frame=SIX)
    for sync in range(42, 71, 4):
        ticks = [sync, *((width * sync + 28) // 56 for width in widths(SIX)[1:]), 60]
        read = [(2 * 56 * width + sync) // (2 * sync) - 12 for width in ticks[1:-1]]
        if read == [width - 12 for width in widths(SIX)[1:]]:
            group.made(pulses(*ticks), f"a sync pulse of {sync} ticks, the others in proportion", TICK,
                       expect="accepted", frame=SIX)  # fmt: skip
    own = pulses(*widths(SIX), 28)
    for before, said in (("1" * 30, "thirty resting ticks"), (pulses(41), "a pulse of 41 ticks"),
                         (pulses(71), "a pulse of 71 ticks"), (pulses(12, 27, 300), "three pulses"),
                         ("0" * 90 + "1" * 5, "a long low"), ("01", "one low tick")):  # fmt: skip
        group.made(before + own, f"{said} before the sync pulse", BEFORE, expect="accepted", frame=SIX)


def narrow_pulses() -> None:
    """A pulse too narrow for a nibble at every place."""
    group = FILE.group("too-narrow", "saej2716")
    for kind, frame in KINDS:
        for place in range(1, len(widths(frame))):
            for width in (2, 11):
                ticks = [*widths(frame), 40]
                ticks[place] = width
                comment = f"{kind}: pulse {place} of {width} ticks"
                group.made(pulses(*ticks), comment, NARROW, expect="timing", at=sum(ticks[: place + 1]), frame=frame)


def crc_errors() -> None:
    """Wrong CRC nibbles, and single nibbles that changed."""
    group = FILE.group("crc-errors", "saej2716")
    for value in range(16):
        if value not in (sent_crc(SIX.nibbles), sent_crc(SIX.nibbles, legacy=True)):
            ticks = [*widths(SIX)[:-1], 12 + value, 40]
            group.made(pulses(*ticks), f"CRC {value}", WRONG_CRC, expect="crc", at=sum(ticks[:-1]), frame=SIX)
    for place in range(2, 8):
        ticks = [*widths(SIX), 40]
        ticks[place] += 3
        if receive(bitarray(pulses(*ticks)), "sent").check == "crc":
            group.made(pulses(*ticks), f"pulse {place} three ticks longer", WRONG_CRC, expect="crc", frame=SIX,
                       at=sum(ticks[:-1]))  # fmt: skip


def moved_edges() -> None:
    """Every edge from the one that opens the data on, one tick early and one late."""
    group = FILE.group("moved-edges", "saej2716")
    for kind, frame in KINDS:
        edges = [sum(widths(frame)[:place]) for place in range(2, len(widths(frame)) + 1)]
        for place, edge in enumerate(edges, start=2):
            for flip, said in ((edge, "late"), (edge - 1, "early")):
                got = receive(encode(frame).flipped([flip]) + REST * bitarray("1"), "sent")
                if got.check is not None and agreed(frame, [flip]):
                    group.flipped(frame, [flip], f"{kind}: edge {place} a tick {said}", EDGE, expect="rejected",
                                  rest=REST)  # fmt: skip


def single_flips() -> None:
    """Ticks inverted in the middle of pulses."""
    group = FILE.group("single-flips", "saej2716")
    for kind, frame in KINDS:
        sent = encode(frame)
        for place in range(60, len(sent)):
            got = receive(sent.flipped([place]) + REST * bitarray("1"), "sent")
            if got.check is not None and place % 3 == 0 and agreed(frame, [place]):
                group.flipped(frame, [place], f"{kind}: tick {place} inverted", SINGLE, expect="rejected", rest=REST)


def counts() -> None:
    """No data, and too much of it."""
    group = FILE.group("counts", "saej2716")
    group.made(pulses(56, 15, 40), "a status nibble alone", COUNT, expect="length", at=56 + 15 + 27)
    group.made(pulses(56, 40), "a sync pulse alone", COUNT, expect="timing", at=56 + 27)
    for form in (False, True):
        crc = sent_crc((), legacy=form)
        group.made(pulses(56, 15, 12 + crc, 40), f"no data, CRC {crc}", COUNT, expect="length", at=56 + 15 + 12 + crc)
    for size in (7, 8, 12):
        nibbles = tuple(range(1, size + 1))
        ticks = (56, 15, *(12 + nibble for nibble in nibbles), 12 + sent_crc(nibbles))
        group.made(pulses(*ticks, 40), f"{size} data nibbles", COUNT, expect="length", at=sum(ticks))


def cut_short() -> None:
    """Wires that end too early, and wires with no sync pulse."""
    group = FILE.group("cut-short", "saej2716")
    for kind, frame in KINDS:
        wire = pulses(*widths(frame), 27)
        for stop in (3, 40, 56, 57, 70, sum(widths(frame)) - 1, sum(widths(frame)), len(wire)):
            group.made(wire[:stop], f"{kind}: ends after {stop} ticks", CUT, expect="incomplete", frame=frame)
    for sync in (12, 41, 71, 400):
        group.made(pulses(sync, *widths(SIX)[1:], 28), f"a first pulse of {sync} ticks", SYNC, expect="incomplete")
    for wire, said in (("", "nothing"), ("1" * 100, "a resting wire"), ("0" * 200, "a wire that stays low")):
        group.made(wire, said, SYNC, expect="incomplete")


def unseen_flips() -> None:
    """Flips that nothing sees."""
    group = FILE.group("undetected", "saej2716")
    for kind, frame in KINDS:
        for flips in ([55], [56], [7], [0, 56]):
            got = receive(encode(frame).flipped(flips) + REST * bitarray("1"), "sent")
            if got.accepted and got.frame != frame and agreed(frame, flips):
                group.flipped(frame, flips, f"{kind}: the sync pulse ends elsewhere: {flips}", PASSES,
                              expect="accepted", received=got.frame, rest=REST)  # fmt: skip
    for kind, frame in KINDS:
        edges = [sum(widths(frame)[:place]) for place in range(1, len(widths(frame)) + 1)]
        ticks = [tick for edge in edges for tick in (edge - 1, edge)]
        for pair in combinations(ticks, 2):
            got = receive(encode(frame).flipped(pair) + REST * bitarray("1"), "sent")
            if got.accepted and got.frame != frame and agreed(frame, pair):
                group.flipped(frame, pair, f"{kind}: edges moved at ticks {pair[0]} and {pair[1]}", PASSES,
                              expect="accepted", received=got.frame, rest=REST)  # fmt: skip


def check_agreement(groups: Iterable[Group]) -> None:
    """Stop unless a receiver with the data sheet says the same in every case with a frame that reaches a verdict."""
    for group in groups:
        for case in group.cases:
            if case["frame"] is None or case["expect"] == "incomplete":
                continue
            frame = SentFrame(**{**case["frame"], "nibbles": tuple(case["frame"]["nibbles"])})
            wire = case["wire"]
            if frame.pause is not None and "spans" not in case and "flips" not in case:
                wire = wire + pulses(28)  # what was made by hand ends within the pause
            accepted, check, at, _ = knowing(frame, bitarray(wire))
            if (accepted, check, at) != (case["expect"] == "accepted", case["check"], case["at"]):
                raise SystemExit(f"{case['comment']}: with a data sheet {accepted}, {check} at {at}")


PARTS = (
    plain_frames,
    tolerated,
    narrow_pulses,
    crc_errors,
    moved_edges,
    single_flips,
    counts,
    cut_short,
    unseen_flips,
)

if __name__ == "__main__":
    for part in PARTS:
        part()
    check_agreement(FILE.groups)
    FILE.write()
