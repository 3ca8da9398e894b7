"""Frames of classic CAN beside an engine: sparks, harness and receiver as in a scenario, the claim's own frames."""

from collections.abc import Callable
from dataclasses import replace

from framesim.analog import AnalogLine
from framesim.claims.claim import Assertion, PerHourAtMost
from framesim.claims.payloads import draws
from framesim.claims.subject import FrameSubject
from framesim.claims.traffic import frames_per_second
from framesim.coverage.judging_many import tally_disturbed
from framesim.coverage.scenario import Scenario, Sender, Signal
from framesim.coverage.tally import Tally
from framesim.coverage.traffic import Traffic
from framesim.disturbance import CanLink, Ignition
from framesim.errors import BadArgument, NotFeasible
from framesim.networks.can import CanFrame

__all__ = ["MOST_FRAMES", "engine_scenario", "run_engine"]

EVERY_S = 0.010  # between two frames, where the claim says nothing of traffic
BIT_RATE = 500_000.0
SECONDS_A_FRAME = 1e-4  # of engine and frames together, roughly
FEWEST = 1000
MOST_FRAMES = 10_000_000
AT_ONCE = 4000


def engine_scenario(subject: FrameSubject, engine: Ignition, asserts: Assertion) -> Scenario:
    """Return the scenario in which the claim's frames are sent; the voltage on its analog line is not looked at.

    Raises:
        BadArgument: frames that it cannot send.
    """
    if subject.network != "can" or subject.frame.remote or not 3 <= subject.n_bytes <= 8:
        raise BadArgument("frame: beside an engine, expected data frames of can with 3..8 bytes")
    if any(len(frame.payload) != subject.n_bytes for frame in subject.frames):
        raise BadArgument("frame.payload.list: beside an engine, expected payloads of one length")
    sender = Sender(identifier=subject.frame.identifier, extended=subject.frame.extended, payload_bytes=subject.n_bytes)
    bit_rate, every_s = BIT_RATE, EVERY_S
    if isinstance(asserts, PerHourAtMost):
        bit_rate = asserts.bit_rate or BIT_RATE
        every_s = 1 / frames_per_second(subject, asserts)[0]
    longest_s = sender.most_bits / bit_rate
    if every_s <= longest_s:
        raise BadArgument(f"asserts: {1 / every_s:.4g} frames a second; beside an engine, at most {1 / longest_s:.4g}")
    return Scenario(
        title="claim",
        signal=Signal(name="value", unit="", low=0, high=1, centre=0.5, swing=0, swing_s=1, every_s=every_s),
        sender=sender,
        link=CanLink(bit_rate=bit_rate),
        analog=AnalogLine(),
        disturbance=engine,
        severities=(engine.severity,),
    )


def run_engine(name: str, subject: FrameSubject, scenario: Scenario, *, seed: int, budget_s: float) -> Tally:
    """Send frames beside the running engine and return what became of them.

    Raises:
        NotFeasible: too few frames within the budget.
    """
    engine = scenario.disturbance
    assert isinstance(engine, Ignition)
    n_frames = min(MOST_FRAMES, int(budget_s / SECONDS_A_FRAME))
    if n_frames < FEWEST:
        raise NotFeasible(f"sampling: fewer than {FEWEST} frames beside an engine within budget_s={budget_s:g}")
    scenario = replace(scenario, seed=seed)
    traffic = _Frames(scenario, _chosen(name, subject, seed))
    total = Tally()
    for first in range(0, n_frames, AT_ONCE):
        stop = min(first + AT_ONCE, n_frames)
        hits = scenario.link.walk(engine, traffic.first_bit(first), traffic.first_bit(stop), seed, traffic.levels)
        sent, seen, flips = traffic.disturbed(hits.flipped)
        total += replace(tally_disturbed(sent, seen, flips), frames=stop - first)
    return total


def _chosen(name: str, subject: FrameSubject, seed: int) -> Callable[[int], CanFrame]:
    if not subject.open_payload:
        return lambda slot: subject.frames[slot % len(subject.frames)]
    population = draws(subject, seed, name)
    return lambda slot: subject.with_payload(population.draw(max(slot, 0), 1)[0].tobytes())


class _Frames(Traffic):
    """The traffic of a scenario with frames of one's own."""

    def __init__(self, scenario: Scenario, chosen: Callable[[int], CanFrame]) -> None:
        super().__init__(scenario)
        self._chosen = chosen

    def frame(self, slot: int) -> CanFrame:
        """Return the frame of a slot."""
        return self._chosen(slot)
