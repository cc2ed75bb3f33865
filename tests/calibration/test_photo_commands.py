"""Photographs on the command line: the sign stepped through its states, the check, and bad input in one line."""

from __future__ import annotations

import io
import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from marquee.bench.trim_link import TrimLink
from marquee.cli import show as show_module
from marquee.cli.app import run
from marquee.demo import demo_folder
from marquee.errors import InputError
from marquee.outputs.pictures.photo import draw_photo
from marquee.photo.read import read_shot, state_named, state_of_file
from marquee.photo.values import State
from tests.calibration.photographed import Camera, Sitting, built, demo_plan


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    with demo_folder() as demo:
        for path in demo.iterdir():
            if path.is_file():
                (tmp_path / path.name).write_bytes(path.read_bytes())
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.slow
def test_photographs_are_checked_drawn_and_kept_for_the_fit(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sitting = Sitting(made=built(demo_plan()), camera=Camera(seed=21))
    for one in sitting.photos("planned", "white", "red", "green", "blue"):
        name = "IMG_7.png" if one.state.kind == "red" else one.file.replace(".jpg", ".png")
        Image.fromarray(one.read().pixels).save(folder / name)
    words = ["planned.png", "white.png", "green.png", "blue.png", "--state", "red=IMG_7.png"]
    words += ["--picture", "checked.png", "--signals", "signals.csv", "--json"]
    assert run(["bench", "photo", "project.toml", *words]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["face"]["agreement"] > 0.9
    assert [zone["zone"] for zone in told["zones"]] == [0, 1, 2, 3]
    assert {one["code"] for one in told["findings"]} == {"photo.curve-assumed"}
    with Image.open(folder / "checked.png") as picture:
        assert picture.width == 1200
    assert "ws2812b,255,coded," in (folder / "signals.csv").read_text(encoding="utf-8")
    # What is planned for the places read is evener than the whole zones the plan speaks of, and said to be so.
    whole = {zone.zone: zone.min_over_max for zone in demo_plan().light.zones}
    assert all(z["predicted_min_over_max"] > whole[z["zone"]] - 0.01 for z in told["zones"])
    assert run(["bench", "photo", "project.toml", "planned.png"]) == 0
    assert "1 mm from edges where there is room: evener" in capsys.readouterr().out
    # An earlier picture is never written over.
    assert run(["bench", "photo", "project.toml", "planned.png", "--picture", "checked.png"]) == 2
    assert "exists already" in capsys.readouterr().err


@pytest.mark.slow
def test_the_picture_marks_what_is_to_be_looked_at_and_no_text_meets_another() -> None:
    from marquee.photo.check import check_photos

    sitting = Sitting(made=built(demo_plan(), missing_wall=3), camera=Camera(seed=22))
    checked = check_photos(demo_plan(), sitting.photos("planned", "white"))
    sheet = draw_photo(checked, demo_plan())
    assert "wall 3" in {box.text for box in sheet.texts}
    boxes = sheet.texts
    assert not any(a.meets(b) for k, a in enumerate(boxes) for b in boxes[k + 1 :])


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["lost.jpg"], "lost.jpg: does not exist"),
        (["black.jpg"], "none shows all zones lit"),
        (["a.jpg", "--state", "purple=a.jpg"], "'purple' is no state"),
        (["a.jpg", "--state", "red"], "is not STATE=PHOTO"),
        (["ramp-300.jpg"], "code 300 is outside 1 to 255"),
        (["zone-9.jpg", "a.jpg"], "zone 9 does not exist"),
        (["a.jpg", "--corners", "1,2 3,4"], "is not four places"),
        (["a.jpg", "--corners", "0,0 0,9 9,9 9,0"], "do not run round the face"),
    ],
    ids=str,
)
@pytest.mark.usefixtures("folder")
def test_bad_words_become_one_line(
    capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    assert run(["bench", "photo", "project.toml", *words]) == 2
    err = capsys.readouterr().err.strip()
    assert told in err
    assert err.count("\n") == 0


@pytest.mark.parametrize(
    ("name", "state"),
    [
        ("Black.JPG", State(kind="black")),
        ("ramp_64.png", State(kind="ramp", number=64)),
        ("zone-2.tif", State(kind="zone", number=2)),
        ("IMG_0042.jpg", State(kind="planned")),
        ("redder.jpg", State(kind="planned")),
    ],
    ids=str,
)
def test_a_files_name_says_what_the_sign_showed(name: str, state: State) -> None:
    assert state_of_file(Path(name)) == state


def test_deep_turned_and_exposed_photographs_are_read_as_stored(tmp_path: Path) -> None:
    import cv2

    deep = np.arange(2 * 3 * 3, dtype=np.uint16).reshape(2, 3, 3) * 3000
    cv2.imwrite(str(tmp_path / "deep.png"), deep[..., ::-1])
    shot = read_shot(tmp_path / "deep.png", State(kind="white"))
    assert shot.most == 65535
    assert (shot.pixels == deep).all()
    image = Image.new("RGB", (40, 20), "#102030")
    exif = Image.Exif()
    exif[0x0112] = 6  # Exif 2.32: turned by a quarter
    exif.get_ifd(0x8769).update({0x829A: 0.02, 0x829D: 2.0, 0x8827: 200})
    stream = io.BytesIO()
    image.save(stream, "JPEG", exif=exif)
    (tmp_path / "turned.jpg").write_bytes(stream.getvalue())
    shot = read_shot(tmp_path / "turned.jpg", State(kind="white"))
    assert shot.size_px == (20, 40)
    assert shot.exposure == pytest.approx(0.02 * 200 / 2.0**2)


@pytest.mark.parametrize("name", ["cut.jpg", "text.png", "raw.dng", "grey.png"])
def test_files_that_are_no_photographs_are_refused_by_name(tmp_path: Path, name: str) -> None:
    stream = io.BytesIO()
    Image.effect_noise((60, 40), 90).convert("RGB").save(stream, "JPEG")
    grey = io.BytesIO()
    Image.new("L", (9, 9)).save(grey, "PNG")
    content = {
        "cut.jpg": stream.getvalue()[:300],
        "text.png": b"no picture",
        "raw.dng": b"II*\x00 no raw file",
        "grey.png": grey.getvalue(),
    }
    path = tmp_path / name
    path.write_bytes(content[name])
    with pytest.raises(InputError) as caught:
        read_shot(path, State(kind="white"))
    assert caught.value.where == f"{path}"


class _Sign:
    """A board in trim mode as trim.h of the example program states it."""

    def __init__(self) -> None:
        self.sent: list[str] = []
        self._answers = b""

    def write(self, data: bytes, /) -> int:
        for line in data.decode().splitlines():
            self.sent.append(line)
            answer = line
            if line == "!":
                answer = "trim 1 zones 4 channels 3 global 0 crc 00000000"
            elif line.startswith("only"):
                answer = f"{line[5:]}=1,2,3"
            self._answers += f"{answer}\n".encode()
        return len(data)

    def read(self, size: int = 1, /) -> bytes:
        part, self._answers = self._answers[:size], self._answers[size:]
        return part


@pytest.mark.usefixtures("folder")
def test_show_steps_the_sign_through_every_state_photo_takes(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    sign = _Sign()
    monkeypatch.setattr(show_module, "connect", lambda port, _: TrimLink(sign, port))
    monkeypatch.setattr("sys.stdin", io.StringIO("\n" * 20))
    assert run(["bench", "show", "project.toml", "--port", "x", "--code", "128"]) == 0
    out = capsys.readouterr().out
    names = [word.removesuffix(":") for word in out.split() if word.endswith(":")][:-1]
    states = [state_named(name, "test") for name in names]
    assert [s.kind for s in states[:5]] == ["black", "white", "red", "green", "blue"]
    assert [s.number for s in states if s.kind == "ramp"] == [16, 32, 64]
    assert [s.number for s in states if s.kind == "zone"] == [0, 1, 2]
    assert states[-1].kind == "planned"
    # In every zone, the stripes of the hue cycle too.
    assert {f"{zone}=128,0,0" for zone in range(4)} <= set(sign.sent)
    assert sign.sent[-1] == "run"
