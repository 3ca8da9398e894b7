"""The claims reader: whatever stands in the file, it gives claims or one clear line."""

import tomllib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from framesim.claims.claim import ASSERTIONS
from framesim.claims.example import EXAMPLE
from framesim.claims.reading import claims_from_text, load_claims
from framesim.errors import BadInput

SETTINGS = settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.too_slow])
HEAD = 'title = "t"\n[[claim]]\nid = "one"\n'
FRAME = 'frame = { network = "can", identifier = 5, payload = "01" }\n'
CODE = 'code = { name = "CRC-15/CAN", data_bits = 83 }\n'
NOISE = 'disturbance = { kind = "scatter", bit_error_ratio = 1e-5 }\n'
FLIPS = 'asserts = { kind = "detects-flips", up_to = 1 }\n'
RATE = 'asserts = { kind = "residual-at-most", probability = 1e-9 }\n'

SLIPS = [
    ("", "claim: expected at least one table"),
    ('title = "t"\nclaims = []', "claims: unknown key; did you mean 'claim'"),
    ('title = "t"\nclaim = 3', "claim: expected at least one table"),
    ('[[claim]]\nid = "one"\n' + FRAME + FLIPS, "title: missing; expected text in quotes"),
    ('title = "t"\n[[claim]]\n' + FRAME + FLIPS, "claim number 1: id: expected lower-case letters"),
    ('title = "t"\n[[claim]]\nid = "Ä b"\n' + FRAME + FLIPS, "claim number 1: id: expected lower-case letters"),
    (HEAD + FRAME + FLIPS + HEAD.replace('title = "t"\n', "") + FRAME + FLIPS, "claim 'one': id: stands twice"),
    (HEAD + FLIPS, "claim 'one': frame: expected one subject, [claim.frame]"),
    (HEAD + FRAME, "claim 'one': asserts: missing; expected a table with kind = one of"),
    (HEAD + FRAME + CODE + FLIPS, "claim 'one': code: expected one subject"),
    (HEAD + CODE + FLIPS, "claim 'one': code: does not go with asserts.kind; expected [claim.frame]"),
    (HEAD + FRAME + FLIPS.replace("flips", "flip"), "did you mean 'detects-flips'?"),
    (HEAD + FRAME + FLIPS.replace("= 1", "= 0"), "claim 'one': asserts.up_to=0: must lie in 1..64"),
    (HEAD + FRAME + FLIPS.replace("= 1", '= "x"'), "claim 'one': asserts.up_to: expected a whole number"),
    (HEAD + FRAME + FLIPS.replace("up_to", "upto"), "asserts.upto: unknown key; did you mean 'up_to'"),
    (HEAD + FRAME + FLIPS + NOISE, "disturbance: does nothing for asserts.kind 'detects-flips'; leave it out"),
    (HEAD + FRAME + RATE, "claim 'one': disturbance: missing; expected a table with kind = one of ignition, scatter"),
    (HEAD + FRAME + RATE + NOISE.replace("scatter", "scater"), "disturbance.kind: expected one of ignition, scatter"),
    (HEAD + FRAME + RATE + NOISE.replace("1e-5", "2"), "disturbance.bit_error_ratio=2"),
    (
        HEAD + FRAME + RATE + 'disturbance = { kind = "ignition" }',
        "claim 'one': frame: beside an engine, expected data frames of can with 3..8 bytes",
    ),
    (
        HEAD + FRAME.replace('"01"', "{ worst = 8 }") + RATE + 'disturbance = { kind = "ignition" }',
        "disturbance.kind: beside an engine one receiver is judged",
    ),
    (
        HEAD + FRAME.replace('"01"', '"010203"') + 'disturbance = { kind = "ignition" }\n'
        'asserts = { kind = "per-hour-at-most", rate = 1, frames_per_second = 1e6 }',
        "asserts: 1e+06 frames a second; beside an engine, at most",
    ),
    (HEAD + FRAME + RATE.replace("1e-9", "nan") + NOISE, "asserts.probability: expected a finite number"),
    (HEAD + FRAME.replace('"can"', '"cann"') + FLIPS, "frame.network: expected one of can, can-fd"),
    (HEAD + FRAME.replace("5", "0x800") + FLIPS, "frame.identifier=0x800: must lie in 0x0..0x7ff"),
    (HEAD + FRAME.replace('"01"', '"0"') + FLIPS, "frame.payload: expected bytes as hex text"),
    (HEAD + FRAME.replace('"01"', "{ random = 9 }") + FLIPS, "frame.len(payload)=9: must lie in 0..8"),
    (HEAD + FRAME.replace('"01"', "{ random = -1 }") + FLIPS, "frame.payload.random: expected 0..4096 bytes"),
    (HEAD + FRAME.replace('"01"', "{ any = 8 }") + FLIPS, "frame.payload: expected hex text, { random = bytes }"),
    (HEAD + FRAME.replace('"01"', "{ list = [] }") + FLIPS, "frame.payload.list: 0 payloads; expected 1..10000"),
    (HEAD + FRAME.replace('"01"', '{ list = ["x"] }') + FLIPS, "frame.payload.list: expected a list of bytes"),
    (HEAD + FRAME + 'seen = { reach = "common" }\n' + FLIPS, "seen: receivers and reach go with"),
    (HEAD + FRAME + "seen = { receivers = 0 }\n" + RATE + NOISE, "seen.receivers: expected 1..1000"),
    (
        HEAD + FRAME.replace('"can"', '"can-fd"') + 'seen = { acceptance = "same_end" }\n' + FLIPS,
        "seen.acceptance: same_end stands for frames of can alone",
    ),
    (HEAD + FRAME + FLIPS.replace("= 1", "= 1, share_of_frames = 0.9"), "share_of_frames: goes with a random payload"),
    (
        HEAD + 'frame = { network = "sent", status = 1, nibbles = [1, 2, 3], payload = { random = 1 } }\n' + FLIPS,
        "frame.payload: frames of sent have none",
    ),
    (HEAD + CODE.replace("83", "0") + 'asserts = { kind = "bounded-by-width" }', "code.data_bits=0: must lie in 1.."),
    (HEAD + CODE.replace("CAN", "CANN") + 'asserts = { kind = "bounded-by-width" }', "code."),
    (
        HEAD + 'code = { width = 8, data_bits = 9 }\nasserts = { kind = "bounded-by-width" }',
        "code: expected a name, or",
    ),
    (
        HEAD + FRAME + NOISE + 'asserts = { kind = "per-hour-at-most", rate = 1, load = 0.5 }',
        "asserts.frames_per_second: say either this, or bit_rate and load",
    ),
    (
        HEAD + FRAME + NOISE + 'asserts = { kind = "first-to-speak", check = "crcs", at_least = 0.5 }',
        "asserts.check='crcs': expected one of monitoring",
    ),
]


@pytest.mark.parametrize(("text", "told"), SLIPS, ids=[told[:50] for _, told in SLIPS])
def test_a_slip_is_told_in_one_line_that_names_file_key_and_form(text, told):
    with pytest.raises(BadInput) as raised:
        claims_from_text(text, file="mine.toml")
    message = str(raised.value)
    assert message.startswith("mine.toml: ")
    assert told in message
    assert "\n" not in message


def outcome(text):
    """Return the claims read, or None and the message; any other exception is a mistake."""
    try:
        return claims_from_text(text, file="f"), ""
    except BadInput as error:
        return None, str(error)


VALUES = st.recursive(
    st.none().map(lambda _: "true")
    | st.integers(-(10**20), 10**20).map(str)
    | st.floats(allow_nan=True).map(repr)
    | st.text(st.characters(codec="ascii", exclude_characters='"\\'), max_size=8)
    .filter(str.isprintable)
    .map('"{}"'.format)
    | st.sampled_from(sorted(ASSERTIONS)).map('"{}"'.format)
    | st.sampled_from(['"can"', '"lin"', '"scatter"', '"0102"', "{ random = 2 }", "{ worst = 2 }"]),
    lambda inner: st.lists(inner, max_size=3).map(lambda items: "[" + ", ".join(items) + "]"),
    max_leaves=4,
)
KEYS = st.sampled_from(
    ["network", "identifier", "payload", "kind", "up_to", "name", "data_bits", "width", "polynomial", "check",
     "at_least", "probability", "rate", "load", "bit_rate", "bit_error_ratio", "acceptance", "receivers", "x"]
)  # fmt: skip
TABLES = st.dictionaries(KEYS, VALUES, max_size=5).map(
    lambda table: "{ " + ", ".join(f"{key} = {value}" for key, value in table.items()) + " }"
)


@SETTINGS
@given(st.dictionaries(st.sampled_from(["frame", "code", "asserts", "disturbance", "seen", "text"]), TABLES | VALUES))
def test_any_claim_is_read_or_refused_in_one_line(rows):
    text = HEAD + "".join(f"{key} = {value}\n" for key, value in rows.items())
    try:
        tomllib.loads(text)
    except (tomllib.TOMLDecodeError, ValueError):
        return
    claims, message = outcome(text)
    if claims is None:
        assert message.startswith("f: ")
        assert "\n" not in message
    else:
        assert [claim.name for claim in claims.claims] == ["one"]


@SETTINGS
@given(st.integers(0, len(EXAMPLE) - 1), st.text(max_size=3), st.integers(0, 6))
def test_the_built_in_file_with_a_slip_is_read_or_refused_in_one_line(place, put, cut):
    text = EXAMPLE[:place] + put + EXAMPLE[place + cut :]
    claims, message = outcome(text)
    assert message.startswith("f: ") if claims is None else claims.claims


def test_a_file_of_any_bytes_is_refused_in_one_line(tmp_path):
    path = tmp_path / "c.toml"
    for content in (b"\xff\xfe", b"\0", b"[[claim]]", b"x = " + b"[" * 5000, b"", b"x = 1" + b"0" * 6000):
        path.write_bytes(content)
        with pytest.raises(BadInput, match=r"c\.toml: "):
            load_claims(str(path))
    with pytest.raises(BadInput, match="is a directory; expected claims in TOML"):
        load_claims(str(tmp_path))
    with pytest.raises(BadInput, match="cannot be read"):
        load_claims(str(tmp_path / "none.toml"))
