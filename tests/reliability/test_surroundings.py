"""What a shell, a service or a bare container hands over: closed streams, no home, no locale, no terminal."""

from __future__ import annotations

from pathlib import Path

import pytest

from marquee.outputs.folder import MANIFEST
from tests.reliability.killed import content_of
from tests.reliability.sign import draw_sign, marquee

PLAN = ("plan", "sign.png", "--width", "80mm", "--out", "out")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("bench")
    draw_sign(folder / "sign.png")
    return folder


@pytest.fixture(scope="module")
def usual(bench: Path) -> dict[str, str]:
    done = marquee("plan", "sign.png", "--width", "80mm", "--out", "usual", cwd=bench)
    assert (done.returncode, done.stderr) == (0, "")
    return content_of(bench / "usual")


def test_a_bare_surrounding_gives_the_same_plan_without_a_word_of_noise(
    bench: Path, usual: dict[str, str]
) -> None:
    # No home, no caches, an ASCII locale, a terminal that can do nothing.
    bare = {
        "HOME": "/nonexistent",
        "MPLCONFIGDIR": "/proc/nowhere",
        "XDG_CACHE_HOME": "/proc/nowhere",
        "XDG_CONFIG_HOME": "/proc/nowhere",
        "FONTCONFIG_FILE": "/nonexistent",
        "LC_ALL": "C",
        "PYTHONCOERCECLOCALE": "0",
        "PYTHONUTF8": "0",
        "TERM": "dumb",
    }
    done = marquee(
        "plan", "sign.png", "--width", "80mm", "--out", "bare", cwd=bench, environment=bare
    )
    assert (done.returncode, done.stderr) == (0, "")
    told = {"summary.txt", MANIFEST}  # the summary names the folder
    there = content_of(bench / "bare")
    assert {n: d for n, d in there.items() if n not in told} == {
        n: d for n, d in usual.items() if n not in told
    }


@pytest.mark.parametrize(
    ("after", "status", "told"),
    [
        (">&-", 0, ""),
        (">&- 2>&- <&-", 0, ""),
        ("| head -1", 0, ""),
        (">/dev/full", 2, "marquee: output: cannot be written (No space left on device)"),
        (">/dev/full 2>/dev/full", 2, ""),
    ],
)
def test_a_stream_closed_or_full_is_no_crash(
    tmp_path: Path, after: str, status: int, told: str
) -> None:
    done = marquee("parts", "ws2812b", cwd=tmp_path, after=after)
    assert done.returncode == status
    assert done.stderr.startswith(told)
    assert done.stderr.count("\n") == bool(told)


def test_a_plan_with_its_output_closed_is_whole(bench: Path, usual: dict[str, str]) -> None:
    done = marquee(
        "plan", "sign.png", "--width", "80mm", "--out", "closed", cwd=bench, after=">&- <&-"
    )
    assert (done.returncode, done.stderr) == (0, "")
    there = content_of(bench / "closed")
    assert there.keys() == usual.keys()
    assert there["plan.json"] == usual["plan.json"]


def test_a_reader_that_goes_away_is_no_error(tmp_path: Path) -> None:
    done = marquee("parts", "ws2812b", cwd=tmp_path, after="| true")
    assert done.returncode == 141  # 128 + SIGPIPE, as other tools end
    assert done.stderr == ""


def test_a_font_list_cut_short_by_a_killed_run_stops_nothing(
    bench: Path, usual: dict[str, str], tmp_path: Path
) -> None:
    # The drawing library keeps one in the user's cache folder, written without a second name.
    (tmp_path / "ezdxf").mkdir()
    (tmp_path / "ezdxf" / "font_manager_cache.json").write_bytes(b'{"fonts": [{"fil')
    cut_short = {"XDG_CACHE_HOME": str(tmp_path)}
    done = marquee(
        *("plan", "sign.png", "--width", "80mm", "--out", "cut"), cwd=bench, environment=cut_short
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert content_of(bench / "cut")["barriers.dxf"] == usual["barriers.dxf"]


def test_names_in_any_script_go_through(tmp_path: Path) -> None:
    folder = tmp_path / "prõjekt ✨ 看板"
    folder.mkdir()
    draw_sign(folder / "бар 看板.png")
    # Byte order marks and CRLF, as editors of another system save them.
    files = {
        "проект.toml": '[artwork]\nfile = "бар 看板.png"\nwidth = "80mm"\n[zones]\n'
        'palette = "Ölfarben.toml"\n[[zones.override]]\nat = ["10mm", "10mm"]\n'
        'name = "ゾーン ünö שלום 🎱"\n[leds]\npart = "mein Teil é.toml"\n[power]\ncurrency = "₸"\n',
        "Ölfarben.toml": 'schema = 1\nname = "Größe"\n[[colour]]\nname = "琥珀"\nvalue = "#ff9a1e"\n',
        "mein Teil é.toml": 'name = "mein-teil"\ntitle = "Stück 灯"\nbased_on = "ws2812b"\n',
    }
    for name, text in files.items():
        (folder / name).write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    done = marquee("plan", "проект.toml", "--out", "出力 ✨", cwd=folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert "ゾーン ünö שלום 🎱" in done.stdout
    assert '"ゾーン ünö שלום 🎱"' in (folder / "出力 ✨" / "plan.json").read_text(encoding="utf-8")
    plain = marquee(
        *("plan", "проект.toml", "--out", "出力 2"),
        cwd=folder,
        environment={"LC_ALL": "C"},
    )
    assert (plain.returncode, plain.stderr) == (0, "")
    first, second = content_of(folder / "出力 ✨"), content_of(folder / "出力 2")
    assert first["plan.json"] == second["plan.json"]
    assert first["marquee_constants.h"] == second["marquee_constants.h"]


@pytest.mark.parametrize(
    ("line", "mend"),
    [
        (r'file = "art\\sign.png"', "art/sign.png"),
        (r'file = "C:\Users\me\sign.png"', "backslash"),
        (r'file = "C:\temp\new.png"', "backslash"),
        (r"file = 'C:\Users\me\sign.png'", "C:/Users/me/sign.png"),
    ],
)
def test_a_path_with_backslashes_is_told_how_to_be_written(
    tmp_path: Path, line: str, mend: str
) -> None:
    (tmp_path / "project.toml").write_text(f'[artwork]\n{line}\nwidth = "80mm"\n', "utf-8")
    done = marquee("zones", "project.toml", cwd=tmp_path)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert mend in done.stderr
    assert "/" in done.stderr.split(";")[-1]
