"""From a TOML file to claims; a slip is told in one line that names file, claim, key and expected form."""

import re
from collections.abc import Mapping
from dataclasses import fields
from difflib import get_close_matches
from typing import Any, Literal

from framesim.claims.claim import ASSERTIONS, Claim, ClaimsFile, PerHourAtMost, ResidualAtMost
from framesim.claims.engine import engine_scenario
from framesim.claims.example import EXAMPLE
from framesim.claims.subject import CodeSubject, FrameSubject, PayloadKind, Subject
from framesim.codes import crc, crc_from_polynomial
from framesim.coverage.channel_file import FEW_STATES, channel_from_table, parse_toml, read_text
from framesim.coverage.tables import build, expect_keys, expect_type
from framesim.disturbance import Ignition
from framesim.errors import BadArgument, BadInput, check_range
from framesim.networks import registry

__all__ = ["BUILT_IN", "claims_from_text", "load_claims"]

BUILT_IN = "built-in claims"
CAUSES = {"ignition": Ignition, **FEW_STATES}
MOST_CLAIMS = 1000
MOST_LISTED = 10_000
LONGEST_PAYLOAD = 4096
LONGEST_WORD = 1 << 20
_FORM = "lower-case letters, digits and hyphens, such as crc-distance"


def load_claims(path: str | None) -> ClaimsFile:
    """Return the claims in a file, or the built-in ones.

    Raises:
        BadInput: the file cannot be read or used; the message names file, claim, key and expected form.
    """
    if path is None:
        return claims_from_text(EXAMPLE, file=BUILT_IN)
    return claims_from_text(read_text(path, what="claims in TOML"), file=path)


def claims_from_text(text: str, *, file: str) -> ClaimsFile:
    """Return the claims that ``text`` holds.

    Raises:
        BadInput: see ``load_claims``.
    """
    table = parse_toml(text, file=file)
    expect_keys(table, ["title", "note", "seed", "confidence", "budget_s", "claim"], file=file, key="")
    rows = table.get("claim")
    if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
        raise BadInput(f"{file}: claim: expected at least one table [[claim]]")
    if len(rows) > MOST_CLAIMS:
        raise BadInput(f"{file}: claim: {len(rows)} of them; expected at most {MOST_CLAIMS}")
    claims: dict[str, Claim] = {}
    for number, row in enumerate(rows, 1):
        name = row.get("id")
        if not isinstance(name, str) or not re.fullmatch(r"[a-z0-9][a-z0-9-]{0,63}", name):
            raise BadInput(f"{file}: claim number {number}: id: expected {_FORM}, got {_short(name)}")
        if name in claims:
            raise BadInput(f"{file}: claim {name!r}: id: stands twice; expected one of its own for each claim")
        claims[name] = _claim(name, row, f"{file}: claim {name!r}")
    given = {"claims": tuple(claims.values()), "source": text, "file": file}
    return build(ClaimsFile, table, file=file, key="", given=given, skip=frozenset({"claim"}))


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:60]}..."


def _claim(name: str, row: Mapping[str, Any], where: str) -> Claim:
    expect_keys(row, ["id", "text", "frame", "code", "disturbance", "seen", "asserts"], file=where, key="")
    text = expect_type(row.get("text", name), str, file=where, key="text")
    kind = _kind(row, where)
    record, subjects, disturbed = ASSERTIONS[kind]
    subject = _subject(row, where, subjects)
    asserts: Any = build(record, row["asserts"], file=where, key="asserts", skip=frozenset({"kind"}))
    if disturbed and "disturbance" not in row:
        raise BadInput(f"{where}: disturbance: missing; expected a table with kind = one of {', '.join(CAUSES)}")
    if not disturbed and "disturbance" in row:
        raise BadInput(f"{where}: disturbance: does nothing for asserts.kind {kind!r}; leave it out")
    channel = None
    if disturbed:
        part = expect_type(row["disturbance"], dict, file=where, key="disturbance")
        channel = channel_from_table(part, file=where, key="disturbance", kinds=CAUSES)
    if isinstance(channel, Ignition):
        assert isinstance(subject, FrameSubject)  # a disturbance goes with frames alone
        _refuse_under_engine(subject, channel, asserts, where)
    if isinstance(subject, FrameSubject):
        _refuse_idle(subject, asserts, where)
    return Claim(name=name, text=text, subject=subject, asserts=asserts, kind=kind, channel=channel)


def _kind(row: Mapping[str, Any], where: str) -> str:
    if "asserts" not in row:
        raise BadInput(f"{where}: asserts: missing; expected a table with kind = one of {', '.join(ASSERTIONS)}")
    kind = expect_type(row["asserts"], dict, file=where, key="asserts").get("kind")
    if not isinstance(kind, str) or kind not in ASSERTIONS:
        near = get_close_matches(str(kind), ASSERTIONS, n=1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise BadInput(f"{where}: asserts.kind: expected one of {', '.join(ASSERTIONS)}, got {_short(kind)}{hint}")
    return kind


def _subject(row: Mapping[str, Any], where: str, allowed: tuple[type, ...]) -> Subject:
    names = {FrameSubject: "frame", CodeSubject: "code"}
    wanted = " or ".join(f"[claim.{names[kind]}]" for kind in allowed)
    if ("frame" in row) == ("code" in row):
        raise BadInput(f"{where}: {'code' if 'code' in row else 'frame'}: expected one subject, {wanted}")
    found = FrameSubject if "frame" in row else CodeSubject
    if found not in allowed:
        raise BadInput(f"{where}: {names[found]}: does not go with asserts.kind; expected {wanted}")
    if found is CodeSubject:
        if "seen" in row:
            raise BadInput(f"{where}: seen: does nothing for a code; leave it out")
        return _code(expect_type(row["code"], dict, file=where, key="code"), where)
    return _frames(expect_type(row["frame"], dict, file=where, key="frame"), row.get("seen", {}), where)


def _code(table: Mapping[str, Any], where: str) -> CodeSubject:
    expect_keys(table, ["name", "polynomial", "width", "data_bits"], file=where, key="code")
    values = {
        key: expect_type(table[key], str if key == "name" else int, file=where, key=f"code.{key}") for key in table
    }
    if ("name" in values) == ("polynomial" in values) or ("polynomial" in values) != ("width" in values):
        raise BadInput(f"{where}: code: expected a name, or polynomial and width")
    if "data_bits" not in values:
        raise BadInput(f"{where}: code.data_bits: missing; expected a whole number")
    try:
        check_range("data_bits", values["data_bits"], 1, LONGEST_WORD, base="d")
        code = crc(values["name"]) if "name" in values else crc_from_polynomial(values["polynomial"], values["width"])
    except BadArgument as refusal:
        raise BadInput(f"{where}: code.{refusal}") from None
    return CodeSubject(code=code, data_bits=values["data_bits"], named="name" in values)


def _frames(table: Mapping[str, Any], seen: object, where: str) -> FrameSubject:
    name = table.get("network")
    if not isinstance(name, str) or name not in registry.names():
        near = get_close_matches(str(name), registry.names(), n=1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        known = ", ".join(registry.names())
        raise BadInput(f"{where}: frame.network: expected one of {known}, got {_short(name)}{hint}")
    frame_type = registry.network(name).frame_type
    payload = table.get("payload")
    kind: PayloadKind = "fixed"
    frames: list[Any]
    if not isinstance(payload, dict):
        frames = [build(frame_type, table, file=where, key="frame", skip=frozenset({"network"}))]
    else:
        kind, payloads = _payloads(payload, where)
        if "payload" not in {field.name for field in fields(frame_type)}:
            raise BadInput(f"{where}: frame.payload: frames of {name} have none; say their fields")
        skip = frozenset({"network", "payload"})
        frames = [
            build(frame_type, table, file=where, key="frame", given={"payload": each}, skip=skip) for each in payloads
        ]
    sight = expect_type(seen, dict, file=where, key="seen")
    expect_keys(sight, ["acceptance", "receivers", "reach"], file=where, key="seen")
    hints = {
        "acceptance": Literal["receiver_only", "same_end"],
        "receivers": int,
        "reach": Literal["local", "common"],
    }
    values = {key: expect_type(sight[key], hints[key], file=where, key=f"seen.{key}") for key in sight}
    if not 1 <= values.get("receivers", 1) <= 1000:
        raise BadInput(f"{where}: seen.receivers: expected 1..1000, got {_short(values['receivers'])}")
    if values.get("acceptance") == "same_end" and name != "can":
        raise BadInput(f"{where}: seen.acceptance: same_end stands for frames of can alone")
    return FrameSubject(network=name, frames=tuple(frames), payload=kind, **values)


def _payloads(table: Mapping[str, Any], where: str) -> tuple[PayloadKind, list[bytes]]:
    """Return which payloads are meant; for random and worst ones, zeros of their length."""
    form = "hex text, { random = bytes }, { worst = bytes } or { list = [hex texts] }"
    if len(table) != 1 or next(iter(table)) not in ("random", "worst", "list"):
        raise BadInput(f"{where}: frame.payload: expected {form}, got {_short(dict(table))}")
    ((said, value),) = table.items()
    key = f"frame.payload.{said}"
    if said == "list":
        listed = expect_type(value, tuple[bytes, ...], file=where, key=key)
        if not 1 <= len(listed) <= MOST_LISTED:
            raise BadInput(f"{where}: {key}: {len(listed)} payloads; expected 1..{MOST_LISTED}")
        return "list", list(listed)
    n_bytes = expect_type(value, int, file=where, key=key)
    if not 0 <= n_bytes <= LONGEST_PAYLOAD:
        raise BadInput(f"{where}: {key}: expected 0..{LONGEST_PAYLOAD} bytes, got {_short(n_bytes)}")
    return ("random" if said == "random" else "worst"), [bytes(n_bytes)]


def _refuse_under_engine(subject: FrameSubject, channel: Ignition, asserts: Any, where: str) -> None:
    if subject.receivers != 1 or subject.reach != "local" or subject.same_end or subject.payload == "worst":
        raise BadInput(
            f"{where}: disturbance.kind: beside an engine one receiver is judged, its payloads given or random"
        )
    try:
        engine_scenario(subject, channel, asserts)
    except BadArgument as refusal:
        raise BadInput(f"{where}: {refusal}") from None


def _refuse_idle(subject: FrameSubject, asserts: Any, where: str) -> None:
    """Raise at keys that would do nothing."""
    by_rate = isinstance(asserts, ResidualAtMost | PerHourAtMost)
    if not by_rate and (subject.receivers != 1 or subject.reach != "local"):
        raise BadInput(f"{where}: seen: receivers and reach go with residual-at-most and per-hour-at-most alone")
    if type(asserts).__name__ == "FirstToSpeak" and subject.same_end:
        raise BadInput(f"{where}: seen.acceptance: does nothing for first-to-speak; leave it out")
    if getattr(asserts, "share_of_frames", None) is not None and subject.payload != "random":
        raise BadInput(f"{where}: asserts.share_of_frames: goes with a random payload alone")
