"""The command as a person meets it: help, plain errors, exit statuses."""

import hashlib
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from daemon.cli.main import main
from daemon.demo.history import soak_instantly
from daemon.demo.world import Unit
from daemon.store import Store

PLAN = '[[phase]]\ndrive = "carrier"\nminutes = 0.5\n'
COMMANDS = [
    "demo",
    "serve",
    "probe",
    "soak",
    "drop",
    "replay",
    "export",
    "verify",
    "tell",
    "book",
    "bookings",
    "devices",
]


Run = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def here(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    """Run the command to its end in this process: it is a second quicker to begin."""

    def run(*words: object) -> subprocess.CompletedProcess[str]:
        monkeypatch.setattr(sys, "argv", ["keysoak", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main()
        said = capsys.readouterr()
        assert isinstance(ended.value.code, int)
        return subprocess.CompletedProcess(sys.argv, ended.value.code, said.out, said.err)

    return run


def keysoak(*words: object) -> subprocess.CompletedProcess[str]:
    """Run the command to its end."""
    call = [sys.executable, "-m", "daemon.cli.main", *map(str, words)]
    return subprocess.run(call, capture_output=True, text=True, timeout=60, check=False)


def test_help_tells_every_command_and_the_cautions() -> None:
    """A stranger finds the first step, the exit statuses and what can hurt."""
    said = keysoak("--help").stdout
    for word in (*COMMANDS, "keysoak demo", "rack.toml", "RF burns", "unlicensed", "local codes"):
        assert word in said


@pytest.mark.parametrize("command", COMMANDS)
def test_each_command_has_help_of_its_own(here: Run, command: str) -> None:
    """With its options explained."""
    done = here(command, "--help")
    assert done.returncode == 0
    assert f"keysoak {command}" in done.stdout


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with one soaked job, its plan, and a rack.toml that names the folder."""
    folder = tmp_path_factory.mktemp("job")
    (folder / "plan.toml").write_text(PLAN)
    (folder / "rack.toml").write_text(
        '[rack]\ndata = "."\n'
        '[[link]]\nname = "l"\nkind = "serial"\nport = "none"\n'
        '[[bay]]\nname = "bay-3"\nlink = "l"\n'
    )
    with Store(folder) as store:
        soak_instantly(Unit("bay-3", 5, "J-5", "MR-25 no. 014"), store, 1_764_054_000 * 10**9, folder / "plan.toml")
    return folder


def test_a_job_goes_out_and_is_judged_again(job: Path) -> None:
    """export, then replay: pass and 0; with a lower limit fail and 1; --limits goes over the plan's."""
    out = job / "job.senml.gz"
    done = keysoak("export", 1, out, "--rack", job / "rack.toml")
    assert (done.returncode, done.stdout) == (0, f"{out}: 67 readings of job 1\n")
    assert keysoak("replay", out, "--plan", job / "plan.toml").returncode == 0
    (job / "cold.toml").write_text("heatsink_c = 22.5\ntemperature_dwell_s = 1.0\n")
    failed = keysoak("replay", out, "--plan", job / "plan.toml", "--limits", job / "cold.toml")
    assert failed.returncode == 1
    assert "over-temperature" in failed.stdout


def test_a_recording_shorter_than_its_plan_is_incomplete(job: Path) -> None:
    """Exit status 3."""
    out = job / "short.senml"
    keysoak("export", 1, out, "--rack", job / "rack.toml")
    (job / "long.toml").write_text(PLAN.replace("0.5", "5"))
    assert keysoak("replay", out, "--plan", job / "long.toml").returncode == 3


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["replay", "nothing.senml", "--plan", "{job}/plan.toml"], "nothing.senml"),
        (["replay", "{job}/rack.toml", "--plan", "{job}/plan.toml"], "rack.toml, line 1"),
        (["replay", "{job}/x.senml", "--plan", "{job}/rack.toml"], "rack: is not a field that is known here"),
        (["replay", "{job}/x.senml", "--plan", "{job}/plan.toml", "--limits", "{job}/rack.toml"], "rack.toml: "),
        (["serve", "--rack", "{job}/plan.toml"], "plan.toml: link: is missing"),
        (["probe", "bay-9", "--rack", "{job}/rack.toml"], "there is no bay 'bay-9'; known: bay-3"),
        (["export", "9", "{job}/x.csv", "--rack", "{job}/rack.toml"], "there is no job 9; known: 1"),
        (["export", "1", "{job}/x.csv", "--data", "{job}/nowhere"], "holds no readings"),
        (["soak", "bay-3", "--plan", "{job}/plan.toml", "--api", "http://127.0.0.1:9"], "the daemon does not answer"),
        (["drop", "--api", "http://127.0.0.1:9"], "the daemon does not answer"),
    ],
)
def test_what_is_wrong_is_one_plain_message_and_status_2(here: Run, job: Path, words: list[str], said: str) -> None:
    """On standard error, with the file and the field, never a trace."""
    done = here(*(word.format(job=job) for word in words))
    assert done.returncode == 2, done.stdout + done.stderr
    assert said in done.stderr
    assert done.stderr.startswith("keysoak: ")
    assert "Traceback" not in done.stderr


def test_a_probe_of_a_port_that_is_not_there_says_so(job: Path) -> None:
    """Exit status 1: the bay can't be soaked."""
    done = keysoak("probe", "--rack", job / "rack.toml", "--wait", 0.5)
    assert done.returncode == 1
    assert "bay-3: nothing is heard. Link l is not connected" in done.stdout


def test_a_reader_that_goes_away_is_no_error_to_tell(job: Path) -> None:
    """`keysoak replay … | head -0` ends without a trace."""
    out = job / "pipe.senml"
    keysoak("export", 1, out, "--rack", job / "rack.toml")
    call = [sys.executable, "-m", "daemon.cli.main", "replay", str(out), "--plan", str(job / "plan.toml")]
    with subprocess.Popen(call, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.close()
        assert process.stderr is not None
        assert "Traceback" not in process.stderr.read()


def test_a_sealed_job_is_verified_and_a_flipped_bit_found(job: Path) -> None:
    """0 and the digest; 1 and both digests; 2 where nothing can be said."""
    out = job / "copy.parquet"
    with Store(job) as store:
        end_s = time.monotonic() + 60
        while store.seals.good(1) is None:
            assert time.monotonic() < end_s
            time.sleep(0.01)
    assert keysoak("export", 1, out, "--data", job).returncode == 0
    good = keysoak("verify", out, "--rack", job / "rack.toml")
    assert (good.returncode, good.stderr) == (0, "")
    assert "is what was sealed of job 1" in good.stdout
    assert f"SHA-256 {hashlib.sha256(out.read_bytes()).hexdigest()}" in good.stdout
    data = bytearray(out.read_bytes())
    data[len(data) // 2] ^= 1
    out.write_bytes(data)
    bad = keysoak("verify", out, "--data", job)
    assert (bad.returncode, bad.stdout) == (1, "")
    assert "is NOT what was sealed of job 1" in bad.stderr
    assert hashlib.sha256(data).hexdigest() in bad.stderr
    assert keysoak("verify", job / "plan.toml", "--data", job).returncode == 2
