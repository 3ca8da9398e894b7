"""The pytest plugin: three lines test a codec, and loading it costs nothing."""

import subprocess
import sys
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

TEST = """
import framesim as fs
from framesim.wire import parse_bits


def test_my_decoder(challenge_decoder):
    challenge_decoder(lambda bits: fs.receive(parse_bits(bits), "can"), network="can", cases=300)


def test_my_encoder(challenge_encoder):
    challenge_encoder(lambda frame: fs.encode(frame).bits[:-1], network="can", cases=200)
"""


def test_a_right_codec_passes_and_a_wrong_one_fails_with_what_was_found(tmp_path):
    (tmp_path / "test_codec.py").write_text(TEST, encoding="utf-8")
    # An installed framesim has them from its entry point already; a checkout may not.
    plugin = ["-p", "no:framesim", "-p", "framesim.challenge.pytest_fixtures", "-p", "no:cacheprovider"]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", *plugin, "test_codec.py"],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        cwd=tmp_path,
    )
    assert "1 failed, 1 passed" in done.stdout, done.stdout + done.stderr
    assert "- stops too early, in last EOF bit (200 cases)" in done.stdout
    assert "framesim encode can --identifier 0x0" in done.stdout


def test_loading_the_plugin_loads_nothing_else_of_framesim():
    code = "import sys, framesim.challenge.pytest_fixtures; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=True)
    ours = {name for name in done.stdout.split() if name.startswith("framesim")}
    assert ours == {"framesim", "framesim.challenge", "framesim.challenge.pytest_fixtures"}
    assert not {"numpy", "hypothesis", "rich", "bitarray"} & set(done.stdout.split())


def test_the_package_names_its_plugin_and_packs_every_file_of_vectors():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert project["project"]["entry-points"]["pytest11"] == {"framesim": "framesim.challenge.pytest_fixtures"}
    packed = project["tool"]["hatch"]["build"]["targets"]["wheel"]["force-include"]
    skipped = {"sources.json", "frame_vectors.schema.json"}
    files = {path.name for path in (ROOT / "vectors").glob("*.json")} - skipped
    assert packed == {f"vectors/{name}": f"framesim/vectors/{name}" for name in files}
