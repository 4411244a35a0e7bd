"""`radiocheck air` as a person runs it."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from msgspec import UNSET, structs

from radiocheck.evidence.air import WifiNetwork
from radiocheck.evidence.store import save
from radiocheck.report.schema import air_report_schema
from tests.chain import air_house
from tests.chain import machines as m

from .program import REPOSITORY, environment, one_sentence, radiocheck

OFF_THE_BAND = "is not in the 2.4 GHz band of IEEE 802.15.4; write one from 11 to 26"
ADAPTERS = "Adapters in this evidence: Lindenhof Mesh stick A1B2C3."
GABLE = str(air_house.GABLE)


@pytest.fixture(scope="module")
def capture(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A capture of the house with the disk beside the adapter."""
    file = tmp_path_factory.mktemp("air") / "gable.json"
    file.write_bytes(save(air_house.evidence(air_house.disk())))
    return str(file)


def test_answers(capture: str) -> None:
    """A capture and a site give the three answers; something costs frames, so the status is 1."""
    done = radiocheck("air", "--evidence", capture, "--site", GABLE)
    assert done.returncode == 1
    assert done.stderr == b""
    text = done.stdout.decode()
    assert text.startswith("Lindenhof Mesh stick A1B2C3\n")
    assert "No: on channel 17" in text
    assert "What if" not in text


def test_what_if(capture: str) -> None:
    """The four what-ifs are tried together."""
    words = ("--channel", "25", "--extension", "1.5m", "--move-wifi", "gable-guest:1", "--noise", "+3dB")
    text = radiocheck("air", "--evidence", capture, "--site", GABLE, *words).stdout.decode()
    wanted = (
        "What if: the adapter on 1.5 m of USB 2 extension cable, channel 25 instead of 17, `gable-guest` on Wi-Fi "
        "channel 1 and +3 dB of noise at the adapter"
    )
    assert wanted in " ".join(text.split())


def test_channel_is_told_when_no_site_tells_it(capture: str) -> None:
    """Without a channel in the site, --channel is the adapter's own and nothing is compared."""
    text = radiocheck("air", "--evidence", capture, "--channel", "20").stdout.decode()
    assert "channel 20" in text
    assert "What if" not in text


def test_json(capture: str) -> None:
    """JSON fits its published schema and is plain ASCII."""
    done = radiocheck("air", "--evidence", capture, "--site", GABLE, "--format", "json", "--channel", "25")
    report = json.loads(done.stdout.decode("ascii"))
    jsonschema.validate(report, air_report_schema())
    assert [one["question"] for one in report["answers"]] == ["shouting", "channel", "reach"]


def test_wifi_of_the_evidence(tmp_path: Path) -> None:
    """Networks that the machine has heard stand in for a survey; a survey of the site takes their place."""
    heard = [WifiNetwork(ssid="loft", freq_mhz=2462.0, channel=11, width_mhz=20, level_dbm=-50.0, standard="n")]
    file = tmp_path / "c.json"
    file.write_bytes(save(structs.replace(air_house.evidence(), wifi=heard)))
    report = json.loads(radiocheck("air", "--evidence", str(file), "--format", "json").stdout)
    assert (report["survey_from"], [one["name"] for one in report["networks"]]) == ("evidence", ["loft"])
    report = json.loads(radiocheck("air", "--evidence", str(file), "--site", GABLE, "--format", "json").stdout)
    assert (report["survey_from"], len(report["networks"])) == ("site", 3)


def test_site_from_standard_input(capture: str) -> None:
    """- as site reads standard input; complaints call it so."""
    done = radiocheck("air", "--evidence", capture, "--site", "-", given=b"channel: 30")
    assert one_sentence(done) == f"standard input:1:10: channel 30 {OFF_THE_BAND}"


def test_every_complaint_on_a_line(capture: str) -> None:
    """Several complaints about one file are told at once, a line each, nothing on standard output."""
    done = radiocheck("air", "--evidence", capture, "--site", "-", given=b"channel: 30\nextension: 9 m\n")
    assert (done.returncode, done.stdout) == (2, b"")
    assert [line.split(":")[1] for line in done.stderr.decode().splitlines()] == ["1", "2"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            ("--channel", "9"),
            "--channel: channel 9 is not in the 2.4 GHz band of IEEE 802.15.4; write one from 11 to 26",
        ),
        (("--extension", "1.5"), "--extension: `1.5` has no unit; write `1.5 m`, or the number and m, cm or ft"),
        (("--extension", "-1m"), "--extension: an extension cable of -1m is outside 0.1 m to 5 m"),
        (("--noise", "15"), "--noise: `15` has no unit; write `15 dB`"),
        (("--noise", "+99dB"), "--noise: a noise change of +99dB is outside -40 dB to 40 dB"),
        (("--move-wifi", "15"), "--move-wifi: Wi-Fi channel 15 is not in the 2.4 GHz band; write one from 1 to 14"),
        (("--move-wifi", "6"), "there is no Wi-Fi network in the survey that could be moved"),
        (("--move-wifi", "nobody:6", "--site", GABLE), "no network is called `nobody` in the survey"),
        (
            ("--adapter", "Z9"),
            "No adapter here is called `Z9`. Adapters in this evidence: Lindenhof Mesh stick A1B2C3.",
        ),
        (("--plot", "-"), "the picture needs a file of its own; name one behind --plot"),
        (("--site", "/nowhere.yaml"), "/nowhere.yaml: cannot be read: No such file or directory"),
    ],
)
def test_refused(words: tuple[str, ...], said: str, capture: str) -> None:
    """Each wrong word is told in one sentence, with the allowed range."""
    assert one_sentence(radiocheck("air", "--evidence", capture, *words)) == said


def test_standard_input_once() -> None:
    """Capture and site cannot both be standard input."""
    assert "can be read only once" in one_sentence(radiocheck("air", "--evidence", "-", "--site", "-"))


def test_several_adapters(tmp_path: Path) -> None:
    """Of several adapters one has to be chosen, and then is."""
    other = m.stick("1-3", 9, "D4E5F6")
    file = tmp_path / "c.json"
    file.write_bytes(save(m.native(usb=[m.root_hub(), m.stick(), other], ports=[m.port(), m.port(3, "1-3")])))
    said = one_sentence(radiocheck("air", "--evidence", str(file)))
    assert said.startswith("There are 2 adapters: ")
    assert said.endswith("Choose one with --adapter.")
    text = radiocheck("air", "--evidence", str(file), "--adapter", "D4E5F6").stdout.decode()
    assert text.startswith("Lindenhof Mesh stick D4E5F6\n")


def test_picture(capture: str, tmp_path: Path) -> None:
    """--plot writes the file that was asked for and no other, and replaces one only with --replace."""
    file = tmp_path / "air.svg"
    asked = ("air", "--evidence", capture, "--site", GABLE, "--plot", str(file))
    assert radiocheck(*asked).returncode == 1
    assert [one.name for one in tmp_path.iterdir()] == ["air.svg"]
    before = file.read_bytes()
    assert before.startswith(b'<?xml version="1.0" encoding="UTF-8"?>\n<svg ')
    file.write_bytes(b"mine")
    assert one_sentence(radiocheck(*asked)) == f"{file}: exists; name another file, or add --replace"
    assert file.read_bytes() == b"mine"
    assert radiocheck(*asked, "--replace").returncode == 1
    assert file.read_bytes() == before


def test_status(tmp_path: Path) -> None:
    """0 when nothing speaks against it, 1 when something costs, 4 when nothing is known."""
    quiet, blind = tmp_path / "quiet.json", tmp_path / "blind.json"
    quiet.write_bytes(save(air_house.evidence()))
    blind.write_bytes(save(m.native(ports=UNSET)))
    assert radiocheck("air", "--evidence", str(quiet)).returncode == 0
    assert radiocheck("air", "--evidence", str(blind)).returncode == 4
    assert radiocheck("air", "--evidence", str(quiet), "--site", GABLE).returncode == 1


def test_ascii_and_narrow(capture: str) -> None:
    """--ascii keeps to ASCII, and COLUMNS to its width."""
    text = radiocheck("air", "--evidence", capture, "--site", GABLE, "--ascii", COLUMNS="40").stdout.decode("ascii")
    assert max(map(len, text.splitlines())) <= 40


def test_help_is_light() -> None:
    """`radiocheck air --help` loads neither the computation nor msgspec nor YAML."""
    program = (
        "import sys; from radiocheck.cli.main import run; run(['air', '--help']); "
        "heavy = [name for name in sys.modules if name in ('msgspec', 'yaml') or "
        "name.startswith(('radiocheck.radio', 'radiocheck.air', 'radiocheck.chain', 'radiocheck.report'))]; "
        "sys.exit(f'loaded {heavy}' if heavy else 0)"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        timeout=60,
        env=environment(),
        cwd=REPOSITORY,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, b"")


def test_this_machine() -> None:
    """Without a capture this machine is read, and whatever it shows, there is a report."""
    done = radiocheck("air")
    assert done.returncode in (0, 1, 4) or b"Choose one with --adapter" in done.stderr
    assert b"Traceback" not in done.stderr
