"""Writes the bit-sliced receiver of a dynamically stuffed format with one CRC: 64 receivers a word, no branches.

What it uses, all proved by the tests that hold it against the reference receiver:

- A bit is a stuff bit when the ``run`` wire bits before it are equal, wherever that run began. So no run is counted.
- Two stuff bits are at least ``run`` bits apart, so of ``run`` wire bits at most one drops out: the CRC takes
  ``run - 1`` bits at every receiver, and one more where none dropped out.
- Of the destuffed bits that announce the length, each is found by how many stuff bits stand before it, kept as a
  row of planes "at least one, at least two, ...".
- The bits still to come are counted down once in ``run`` bits. Only where few are left need the end be looked for.
- What follows the CRC stands at fixed places behind its last bit, so it is looked up there and not waited for.

Receivers whose first bit was hit, and those that accept, are left to the scalar receiver.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from framesim.kernels.straight import ONE, ZERO, Straight

__all__ = ["CanShape", "Head", "write_can"]

BODY = 1  #: groups of ``run`` wire bits in one pass of the loop
COUNTER = 7  #: planes of the count of bits to come
BEHIND = 16  #: wire bits behind a pass that it may look at


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """One way in which a frame can begin.

    Attributes:
        length: destuffed bits up to the last that announces the length.
        places: the destuffed bits that announce it, in order.
        sizes: bits that follow, up to the CRC, for each combination of them; the first is the most significant.
    """

    length: int
    places: tuple[int, ...]
    sizes: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CanShape:
    """A format in numbers.

    Attributes:
        heads: the short one and the long one.
        chooser: the destuffed bit that tells them apart; set: the long one.
        run: equal bits that call for a stuff bit.
        width: of the CRC.
        polynomial: of the CRC.
        initial: of its register.
        early: (bits behind the CRC, level) demanded before the CRC speaks.
        late: the same, demanded after it has spoken.
        planes: wire bits after which every receiver has concluded, and what is looked up behind them.
    """

    heads: tuple[Head, Head]
    chooser: int
    run: int
    width: int
    polynomial: int
    initial: int
    early: tuple[tuple[int, int], ...]
    late: tuple[tuple[int, int], ...]
    planes: int


class _Writer:
    """Writes the loop bodies; planes of state are named by what they hold."""

    def __init__(self, shape: CanShape) -> None:
        self.shape = shape
        self.opening = self._fewest_bits() // shape.run * shape.run
        self.state = [f"c{place}" for place in range(shape.width)] + [f"r{place}" for place in range(COUNTER)]
        self.state += ["act", "stuff", "early", "code", "late", "long"]
        self.state += [f"t{place}" for place in range(1, (self.opening - 1) // shape.run + 1)]

    def _fewest_bits(self) -> int:
        """Return a number of wire bits in which the short head fits, and at whose end no frame is over."""
        short = self.shape.heads[0]
        return short.length + (short.length - 1) // (self.shape.run - 1) + 2

    # --- pieces -------------------------------------------------------------------------------------------------

    def differs(self, code: Straight, bits: dict[int, str], at: int) -> str:
        """Return where wire bit ``at`` differs from the one before; the first bit does."""
        return ONE if at <= 0 else code.xor(bits[at], bits[at - 1])

    def no_stuff(self, code: Straight, bits: dict[int, str], at: int) -> str:
        """Return where wire bit ``at`` is no stuff bit: one of the ``run - 1`` bits before it began anew."""
        steps = [self.differs(code, bits, place) for place in range(at - self.shape.run + 1, at)]
        if len(steps) == 4:  # pairs, because the bit after next shares them
            return code.or_(code.or_(steps[0], steps[1]), code.or_(steps[2], steps[3]))
        return code.any_of(steps)

    def step(self, code: Straight, register: list[str], bit: str) -> list[str]:
        """Return the register after one bit; index = power of x."""
        fed = code.xor(register[-1], bit)
        after = [ZERO, *register[:-1]]
        return [
            code.xor(plane, fed) if self.shape.polynomial >> place & 1 else plane for place, plane in enumerate(after)
        ]

    def group(
        self, code: Straight, register: list[str], bits: Sequence[str], clear: Sequence[str]
    ) -> tuple[list[str], str]:
        """Feed ``run`` wire bits, of which at most one drops out; return the register, and where none did.

        Args:
            code: receives the lines.
            register: before.
            bits: the wire bits.
            clear: where each is no stuff bit.
        """
        none_yet = ONE
        for place in range(len(bits) - 1):
            none_yet = code.and_(none_yet, clear[place])
            register = self.step(code, register, code.choose(none_yet, bits[place], bits[place + 1]))
        none_yet = code.and_(none_yet, clear[-1])
        after = self.step(code, register, bits[-1])
        return [code.choose(none_yet, new, old) for new, old in zip(after, register, strict=True)], none_yet

    def thermometers(
        self, code: Straight, bits: dict[int, str], known: list[str], first: int, stop: int
    ) -> dict[int, list[str]]:
        """Return, for each wire bit, where at least 1, 2, ... stuff bits stand up to and including it."""
        rows = {first - 1: known}
        for at in range(first, stop):
            stuff = code.not_(self.no_stuff(code, bits, at))
            most = at // self.shape.run
            old = [*rows[at - 1], *[ZERO] * most][: max(most, len(rows[at - 1]))]
            rows[at] = [
                code.or_(plane, code.and_(stuff, old[place - 1] if place else ONE)) for place, plane in enumerate(old)
            ]
        return rows

    def destuffed(self, code: Straight, bits: dict[int, str], rows: dict[int, list[str]], place: int) -> str:
        """Return the destuffed bit ``place``: it stands as many wire bits later as stuff bits precede it."""
        found = bits[place]
        for late in range((place - 1) // (self.shape.run - 1)):
            row = rows[place + late]
            if late < len(row):
                found = code.choose(row[late], bits[place + late + 1], found)
            # where fewer stuff bits can precede, the bit is found already
        return found

    def to_come(
        self, code: Straight, bits: dict[int, str], rows: dict[int, list[str]], head: Head, at: int
    ) -> list[str]:
        """Return how many destuffed bits come at wire bit ``at`` and after, least significant plane first."""
        inputs = [self.destuffed(code, bits, rows, place) for place in head.places]
        rest = head.length + self.shape.width - at
        low = [code.table(inputs, [size + rest >> place & 1 for size in head.sizes]) for place in range(COUNTER)]
        stuffed = rows[at - 1]
        count = []
        for place in range(len(stuffed).bit_length()):
            plane = ZERO
            for number in range(1, len(stuffed) + 1):
                if (number >> place & 1) != (number - 1 >> place & 1):
                    plane = code.xor(plane, stuffed[number - 1])
            count.append(plane)
        return code.add(low, count)

    def count_down(self, code: Straight, count: list[str], none: str) -> list[str]:
        """Return the count less ``run`` where no bit dropped out, less ``run - 1`` elsewhere."""
        less = -self.shape.run & (1 << COUNTER) - 1
        return code.add(count, [ONE if less >> place & 1 else ZERO for place in range(COUNTER)], code.not_(none))

    # --- loop bodies --------------------------------------------------------------------------------------------

    def write_opening(self) -> list[str]:
        """Write the first wire bits: both heads told apart, the length of the short one, the first CRC steps."""
        shape, code = self.shape, Straight("o_")
        last = max(self.opening, *(place + (place - 1) // (shape.run - 1) + 1 for place in shape.heads[0].places))
        bits = {at: code.take(f"x[w + K{at}]", f"x{at}") for at in range(last + 1)}
        clear = {at: self.no_stuff(code, bits, at) for at in range(self.opening)}
        stuff = code.any_of(
            [code.not_(code.or_(clear[at], self.differs(code, bits, at))) for at in range(self.opening)]
        )
        register = [ONE if shape.initial >> place & 1 else ZERO for place in range(shape.width)]
        for first in range(0, self.opening, shape.run):
            group = range(first, first + shape.run)
            register, _ = self.group(code, register, [bits[at] for at in group], [clear[at] for at in group])
        rows = self.thermometers(code, bits, [], 0, last)
        count = self.to_come(code, bits, rows, shape.heads[0], self.opening)
        long = self.destuffed(code, bits, rows, shape.chooser)
        values = dict(zip(self.state, [*register, *[code.or_(plane, long) for plane in count]], strict=False))
        values |= {"act": code.not_(code.or_(stuff, bits[0])), "stuff": stuff, "long": long}
        values |= {f"t{place + 1}": plane for place, plane in enumerate(rows[self.opening - 1])}
        results = [("some_long", long), ("near", self.near(code, values, values["act"])), ("alive", values["act"])]
        return self.loop(code, values, results)

    def write_long(self) -> tuple[int, list[str]]:
        """Write how the long head's length is read, and at which wire bit that is done."""
        shape, code = self.shape, Straight("a_")
        head, step = shape.heads[1], BODY * shape.run
        at = self.opening + (head.length + shape.width - 2 - self.opening) // step * step
        last = max(at, *(place + (place - 1) // (shape.run - 1) + 1 for place in head.places))
        first = self.opening - shape.run
        bits = {place: code.take(f"x[w + K{place}]", f"x{place}") for place in range(first, last + 1)}
        known = [code.take(self.cell(name), name) for name in self.state if name.startswith("t")]
        rows = self.thermometers(code, bits, known, self.opening, last)
        count = self.to_come(code, bits, rows, head, at)
        long, act = code.take(self.cell("long"), "long"), code.take(self.cell("act"), "act")
        values = {}
        for place, plane in enumerate(count):
            name = f"r{place}"
            values[name] = code.choose(long, plane, code.take(self.cell(name), name))
        return at, self.loop(code, values, [("near", self.near(code, values, act))])

    def near(self, code: Straight, values: dict[str, str], act: str) -> str:
        """Return which receivers may reach the end of their CRC within the next pass."""
        size = BODY * self.shape.run
        low = [f"r{place}" for place in reversed(range(size.bit_length()))]
        few = code.table([values[name] for name in low], [int(count <= size) for count in range(1 << len(low))])
        return code.and_(few, code.but(act, code.any_of([values[f"r{place}"] for place in range(len(low), COUNTER)])))

    def write_body(self, *, ending: bool) -> list[str]:
        """Write one pass over ``BODY * run`` wire bits; with ``ending`` frames may end in it."""
        shape, code = self.shape, Straight("e_" if ending else "p_")
        size = BODY * shape.run
        reach = 1 + max(offset for offset, _ in (*shape.early, *shape.late)) + 1 if ending else 0
        bits = {
            at: code.take(f"x[base + w + K{at + shape.run}]", f"x{at + shape.run}")
            for at in range(-shape.run, size + reach)
        }
        names = [*self.state[: shape.width + COUNTER], "act", "stuff", *(("early", "code", "late") if ending else ())]
        held = {name: code.take(self.cell(name), name) for name in names}
        register = [held[f"c{place}"] for place in range(shape.width)]
        count = [held[f"r{place}"] for place in range(COUNTER)]
        act, stuff = held["act"], held["stuff"]
        clear = {at: self.inner_clear(code, bits, at) for at in range(size + (2 if ending else 0))}
        whole = {at: code.or_(clear[at], code.xor(bits[at], bits[at - 1])) for at in clear}
        ends: dict[int, str] = {}
        for first in range(0, size, shape.run):
            group = range(first, first + shape.run)
            fed = [bits[at] for at in group]
            if ending:
                act, stuff, fed = self.find_ends(code, count, act, stuff, bits, clear, whole, group, ends)
            register, none = self.group(code, register, fed, [clear[at] for at in group])
            count = self.count_down(code, count, none)
        if not ending:
            sound = ONE
            for at in range(size):
                sound = code.and_(sound, whole[at])
            stuff = code.or_(stuff, code.but(act, sound))
            act = code.and_(act, sound)
        values = dict(zip(self.state, [*register, *count], strict=False)) | {"act": act, "stuff": stuff}
        if ending:
            self.look_behind(code, bits, clear, whole, ends, register, held, values)
        results = [("near", self.near(code, values, act)), ("alive", act)]
        return self.loop(code, values, results)

    def inner_clear(self, code: Straight, bits: dict[int, str], at: int) -> str:
        """Return where a wire bit in the middle of a frame is no stuff bit."""
        steps = [code.xor(bits[place], bits[place - 1]) for place in range(at - self.shape.run + 1, at)]
        if len(steps) == 4:
            return code.or_(code.or_(steps[0], steps[1]), code.or_(steps[2], steps[3]))
        return code.any_of(steps)

    def find_ends(
        self, code: Straight, count: list[str], act: str, stuff: str, bits: dict[int, str], clear: dict[int, str],
        whole: dict[int, str], group: range, ends: dict[int, str],
    ) -> tuple[str, str, list[str]]:  # fmt: skip
        """Find the receivers whose CRC ends in the group; return who goes on, who spoke, and the bits still fed."""
        run = self.shape.run
        few = code.not_(code.any_of(count[3:]))
        left = [
            code.and_(few, code.table([count[2], count[1], count[0]], [int(value == number) for value in range(8)]))
            for number in range(run + 1)
        ]
        none_yet, fed = ONE, []
        for place, at in enumerate(group):
            fed.append(code.and_(bits[at], act))
            fault = code.but(act, whole[at])
            stuff = code.or_(stuff, fault)
            before = none_yet
            none_yet = code.and_(none_yet, clear[at])
            here = code.or_(code.and_(left[place + 1], none_yet), code.but(left[place], before))
            ends[at] = code.but(code.and_(act, here), fault)
            act = code.but(act, code.or_(ends[at], fault))
        return act, stuff, fed

    def look_behind(
        self, code: Straight, bits: dict[int, str], clear: dict[int, str], whole: dict[int, str], ends: dict[int, str],
        register: list[str], held: dict[str, str], values: dict[str, str],
    ) -> None:  # fmt: skip
        """Judge what stands behind the CRC of the receivers in ``ends``, and their CRC."""
        early, late = held["early"], held["late"]
        for at in range(1, max(ends) + 3):
            start = code.and_(ends.get(at - 1, ZERO), clear[at]) if at in clear else ZERO
            if at - 1 in clear:
                start = code.or_(start, code.but(ends.get(at - 2, ZERO), clear[at - 1]))
            early = code.or_(early, code.but(start, self.window(code, bits, at, self.shape.early)))
            late = code.or_(late, code.but(start, self.window(code, bits, at, self.shape.late)))
            if at - 1 in ends:  # a stuff bit owed behind the last bit of the CRC
                values["stuff"] = code.or_(values["stuff"], code.but(ends[at - 1], whole[at]))
        over = code.any_of(list(ends.values()))
        values |= {"early": early, "late": late}
        values["code"] = code.or_(held["code"], code.and_(over, code.any_of(register)))

    def window(self, code: Straight, bits: dict[int, str], at: int, wanted: Sequence[tuple[int, int]]) -> str:
        """Return where all wanted levels stand behind ``at``."""
        planes = [bits[at + offset] if level else code.not_(bits[at + offset]) for offset, level in wanted]
        while len(planes) > 1:  # by pairs of neighbours, which other places share
            planes = [
                code.and_(planes[place], planes[place + 1]) if place + 1 < len(planes) else planes[place]
                for place in range(0, len(planes), 2)
            ]
        return planes[0] if planes else ONE

    # --- text ---------------------------------------------------------------------------------------------------

    def cell(self, name: str) -> str:
        """Return where a plane of state is kept."""
        return f"s[w + K{self.state.index(name)}]"

    def loop(self, code: Straight, values: dict[str, str], results: Sequence[tuple[str, str]]) -> list[str]:
        """Return a loop over the words: its body, the state kept, and what some receiver of some word says."""
        constant = {ZERO: "U(0)", ONE: "~U(0)"}
        lines = [f"{name} = U(0)" for name, _ in results] + ["for w in range(n):"]
        lines += [f"    {line}" for line in code.lines]
        lines += [f"    {self.cell(name)} = {constant.get(value, value)}" for name, value in values.items()]
        return [*lines, *(f"    {name} |= {constant.get(value, value)}" for name, value in results)]


def _indented(lines: Sequence[str], by: int) -> list[str]:
    return [" " * by + line for line in lines]


def write_can(shape: CanShape) -> str:
    """Return the text of ``receive(x, s, v, n)``, which lets the receivers of the first ``n`` words read their frames.

    The planes are ``x[t * UW + w]``: wire bit ``t`` of the receivers in word ``w``. ``s``: scratch, ``SCRATCH`` planes.
    The verdicts go to ``v``, four planes: for whom stuffing, form or the CRC speaks first, and who is left to the
    scalar receiver. Recessive bits follow each frame, up to ``PLANES``.
    """
    writer = _Writer(shape)
    at, announce = writer.write_long()
    size = BODY * shape.run
    cell = writer.cell
    lines = [
        "for w in range(n):",
        *(f"    {cell(name)} = U(0)" for name in ("early", "code", "late")),
        *writer.write_opening(),
        f"t = U({writer.opening})",
        f"while alive != U(0) and t <= U({shape.planes - size - BEHIND}):",
        f"    base = (t - U({shape.run})) * UW",
        f"    if t == U({at}) and some_long != U(0):",
        *_indented(announce, 8),
        "    if near != U(0):",
        *_indented(writer.write_body(ending=True), 8),
        "    else:",
        *_indented(writer.write_body(ending=False), 8),
        f"    t += U({size})",
        "for w in range(n):",
        f"    left = x[w] | ({cell('act')} & ~{cell('stuff')})",
        f"    stuff = {cell('stuff')} & ~left",
        f"    early = {cell('early')} & ~(stuff | left)",
        f"    wrong = {cell('code')} & ~(stuff | left | early)",
        f"    late = {cell('late')} & ~(stuff | left | early | wrong)",
        "    v[w] = stuff",
        "    v[UW + w] = early | late",
        "    v[U(2) * UW + w] = wrong",
        "    v[U(3) * UW + w] = ~(stuff | early | late | wrong)",
    ]
    offsets = [f"K{place} = U({place}) * UW" for place in range(64)]
    head = [f"PLANES, SCRATCH = {shape.planes}, {len(writer.state)}", *offsets, "", "", "def receive(x, s, v, n):"]
    return "\n".join([*head, *_indented(lines, 4), ""])
