"""Claims that every burst up to b bits is noticed, on the wire of a frame or by a code alone."""

from bitarray import bitarray

from framesim.claims.claim import ClaimsFile, DetectsBursts
from framesim.claims.counterexample import Counterexample, of_code, of_frame
from framesim.claims.finding import Finding, Meets, Verdict
from framesim.claims.looking import through_seconds
from framesim.claims.payloads import some_payloads
from framesim.claims.subject import CodeSubject, FrameSubject
from framesim.claims.wording import counted, duration, flips_text
from framesim.coverage.exact.line import line_of
from framesim.coverage.exact.patterns import LONGEST_SPAN, undetected_bursts
from framesim.coverage.exact.same_content import same_content
from framesim.judging import encode, run_receiver
from framesim.networks.registry import network_of
from framesim.wire import WireFrame

__all__ = ["decide_bursts", "decide_code_bursts"]

CAN_SECONDS, CAN_SPAN, A_SPAN_MORE = 0.05, 20, 1.6  # a frame to span 20, roughly; times longer for each span more
CAN_LEAST = 0.01  # seconds a frame takes beside that
BY_LOOK_UP = "exact look-up of every burst"
MOST_FRAMES = 256  # of any payload: all of one byte
EXAMPLES = 50


def decide_code_bursts(subject: CodeSubject, asserts: DetectsBursts) -> Finding:
    """Return what holds for a code: a burst passes exactly if the generator divides it."""
    code, up_to = subject.code, asserts.up_to
    over = f"all bursts of the {counted(subject.data_bits + code.width, 'bit')} that {code.name} sees"
    method = "exact: the generator divides no shorter burst, and is one itself"
    if up_to <= code.width or subject.data_bits < 1:
        return Finding(
            verdict=Verdict.PROVEN,
            meets=Meets.YES,
            statement=f"no burst of up to {counted(up_to, 'bit')} passes the code alone.",
            over=over,
            method=method,
        )
    flips = [code.width - power for power in range(code.width, -1, -1) if code.generator >> power & 1]
    return Finding(
        verdict=Verdict.REFUTED,
        meets=Meets.NO,
        statement=f"a burst of {counted(code.width + 1, 'bit')} passes: the generator itself.",
        over=over,
        method=method,
        counterexample=of_code(subject, flips),
    )


def decide_bursts(name: str, subject: FrameSubject, asserts: DetectsBursts, told: ClaimsFile) -> Finding:
    """Return what was found about bursts on the wire, shortest first, until one passes."""
    frames, complete = _frames(name, subject, asserts, told)
    needs_s, method, reached = 0.0, "", asserts.up_to
    for number, frame in enumerate(frames, 1):
        example, reached_here, lacks_s, method, passing = _look(
            frame, asserts.up_to, subject, told.budget_s / len(frames)
        )
        reached, needs_s = min(reached, reached_here), needs_s + lacks_s
        if example is not None:
            span = example.flips[-1] - example.flips[0] + 1
            which = "this frame" if len(frames) == 1 else f"frame {number} of {len(frames)}"
            return Finding(
                verdict=Verdict.REFUTED,
                meets=Meets.NO,
                statement=f"a burst of {counted(span, 'bit')} passed as right in {which}: "
                f"{flips_text(len(example.flips))}, from bit {example.flips[0]} to {example.flips[-1]}.",
                over=_over(subject, number),
                method=method,
                counts=passing,
                counterexample=example,
            )
    if reached >= asserts.up_to and complete:
        return Finding(
            verdict=Verdict.PROVEN,
            meets=Meets.YES,
            statement=f"no burst of up to {counted(asserts.up_to, 'bit')} passes.",
            over=_over(subject, len(frames)),
            method=method,
        )
    none = f"no burst of up to {counted(reached, 'bit')} passes in what was looked at." if reached else "nothing tried."
    return Finding(
        verdict=Verdict.OPEN,
        meets=Meets.UNDECIDED,
        statement=none,
        over=_over(subject, len(frames)),
        method=method,
        needs=duration(needs_s) if complete else f"all payloads, of which {len(frames)} were looked at",
    )


def _over(subject: FrameSubject, n_frames: int) -> str:
    end = ", accepted at the sender's own end" if subject.same_end else ""
    return f"every burst in {counted(n_frames, 'frame')} of {subject.network}, at one receiver disturbed alone{end}"


def _frames(name: str, subject: FrameSubject, asserts: DetectsBursts, told: ClaimsFile) -> tuple[list[object], bool]:
    """Return the frames to look at, and whether they are all."""
    if not subject.open_payload:
        return list(subject.frames), True
    most = min(MOST_FRAMES, max(1, int(told.budget_s / _can_seconds(asserts.up_to))) if subject.network == "can" else 4)
    payloads, complete = some_payloads(subject, told.seed, name, most)
    return [subject.with_payload(payload) for payload in payloads], complete


def _look(
    frame: object, up_to: int, subject: FrameSubject, budget_s: float
) -> tuple[Counterexample | None, int, float, str, dict[int, int]]:
    """Return a burst that passes, the span reached, seconds lacking, the method, and counts by span."""
    sent = encode(frame)
    if subject.network != "can" or subject.same_end:
        return _through(sent, up_to, subject.same_end, budget_s)
    if budget_s < CAN_LEAST:
        return None, 0, _can_seconds(up_to), BY_LOOK_UP, {}
    line = line_of(sent)
    reach = next((span for span in range(min(up_to, LONGEST_SPAN), 0, -1) if _can_seconds(span) <= budget_s), 1)
    spectrum = undetected_bursts(line, reach, examples=EXAMPLES, tree=same_content(line))
    counts: dict[int, int] = {}
    for (span, _), number in spectrum.counts.items():
        counts[span] = counts.get(span, 0) + number
    rows = [tuple(burst.first + bit for bit in burst.offsets) for burst in spectrum.examples]
    rows.sort(key=lambda flips: (flips[-1] - flips[0], flips[-1] >= len(sent), flips))
    example = next(filter(None, (of_frame(sent, flips) for flips in rows)), None)
    lacks_s = 0.0 if reach == up_to else _can_seconds(up_to)
    return example, reach, lacks_s, BY_LOOK_UP, counts


def _can_seconds(span: int) -> float:
    return CAN_LEAST + CAN_SECONDS * float(A_SPAN_MORE) ** (min(span, LONGEST_SPAN + 34) - CAN_SPAN)


def _through(
    sent: WireFrame, up_to: int, same_end: bool, budget_s: float
) -> tuple[Counterexample | None, int, float, str, dict[int, int]]:
    spec = network_of(sent.frame)
    own_end = run_receiver(spec, bitarray(sent.bits), strict=True).finish().valid_at
    wire = sent.bits + bitarray([spec.layout.idle]) * up_to
    a_try = through_seconds(sent, 1) / (len(sent) + 1)
    spent, method = 0.0, "every burst put through the receiver"
    for span in range(1, up_to + 1):
        masks = range((1 << (span - 1)) | 1, 1 << span, 2) if span > 1 else range(1, 2)
        spent += a_try * len(sent) * len(masks)
        if spent > budget_s:
            lacks_s = a_try * len(sent) * 2.0 ** (up_to - 1)
            return None, span - 1, lacks_s, method, {}
        for mask in masks:
            for first in range(len(sent)):
                flips = [first + bit for bit in range(span) if mask >> bit & 1]
                seen = bitarray(wire)
                for place in flips:
                    seen.invert(place)
                reception = run_receiver(spec, seen, strict=True).finish()
                if not reception.accepted or reception.frame == sent.frame:
                    continue
                example = None if same_end and reception.valid_at != own_end else of_frame(sent, flips)
                if example is not None:
                    return example, span, 0.0, method, {}
    return None, up_to, 0.0, method, {}
