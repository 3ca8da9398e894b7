"""``framesim compare`` keeps the networks that were done when Ctrl-C was pressed."""

import json

from interrupting import interrupted_after

from framesim.cli.main import main
from framesim.coverage import compare as compare_module

WORDS = ["compare", "--patterns", "5"]


def test_an_interruption_keeps_the_networks_that_were_done(capsys, monkeypatch):
    judged, told = compare_module._judged, []
    for times in (2, 1):
        monkeypatch.setattr(compare_module, "_judged", interrupted_after(judged, times))
        assert main([*WORDS, "--json"]) == 130
        told.append(json.loads(capsys.readouterr().out))
    two, one = told
    assert two["partial"] is True
    assert [lane["link"] for lane in two["links"]] == ["lin", "can"]
    assert one["links"] == two["links"][:1]
    assert {"can-fd", "flexray", "ethernet", "sent"} <= set(two["left_out"])
    assert "can" in one["left_out"]
    assert all("interrupted before it was done" in reason for reason in two["left_out"].values())
    monkeypatch.setattr(compare_module, "_judged", interrupted_after(judged, 1))
    assert main(WORDS) == 130
    drawn = capsys.readouterr().out
    assert drawn.splitlines()[1].startswith("Partial: the run was interrupted.")
    assert "some networks are left out" in drawn


def test_the_page_of_an_interrupted_comparison_says_so_at_its_top(tmp_path, capsys, monkeypatch):
    page, judged = tmp_path / "page.html", compare_module._judged
    monkeypatch.setattr(compare_module, "_judged", interrupted_after(judged, 1))
    assert main([*WORDS, "--page", str(page)]) == 130
    text = page.read_text()
    assert text.index("Partial: the run was interrupted") < text.index("On the wire")
    assert capsys.readouterr().out == ""


def test_an_interruption_before_the_first_network_says_that_there_is_nothing(capsys, monkeypatch):
    monkeypatch.setattr(compare_module, "_judged", interrupted_after(compare_module._judged, 0))
    assert main(WORDS) == 130
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err == "framesim: compare: interrupted before anything was finished; nothing to show\n"
