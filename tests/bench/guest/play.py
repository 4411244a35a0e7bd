"""Play the scenarios of /bench/plan.json one after another, inside the bench machine.

For each: set up, look without radiocheck, let radiocheck look as root and as an ordinary
user, apply the remedy, clean up.  Judging is radiocheck's pure half; it is asked of the
machine outside, which has the same wheel and is twenty times faster than emulation.
Nothing is decided here: what happened goes into /bench/results, and the host compares.
"""

import json
import os
import pwd
import re
import shlex
import subprocess
import sys
import time
import traceback
from pathlib import Path
from typing import Any

import inner

SHARE = Path("/bench")
TOOL = Path("/opt/radiocheck")
PERSON = "mira"
# The folder that a person is in who follows a remedy.  Like all /run/bench-* it is gone after the scenario.
DESK = Path("/run/bench-desk")
LIMIT = 480
LAUNCHER = f"""#!/usr/bin/python3
import sys
sys.path.insert(0, "{TOOL}")
from radiocheck.cli.main import run
sys.exit(run())
"""


def install() -> None:
    """Put the tool's wheel, unpacked by pip outside, where a machine would have it."""
    TOOL.mkdir()
    # One file: a thousand small ones over the share take minutes.
    subprocess.run(["tar", "xf", str(SHARE / "site.tar"), "-C", str(TOOL)], check=True)
    launcher = Path("/usr/local/bin/radiocheck")
    launcher.write_text(LAUNCHER, encoding="utf-8")
    launcher.chmod(0o755)
    sys.path.insert(0, str(TOOL))


def preload() -> None:
    """Import all that `radiocheck capture` imports: each use is then a fork of this process."""
    from radiocheck.cli import main  # noqa: F401
    from radiocheck.evidence import store  # noqa: F401
    from radiocheck.sources import probe

    probe.sources()


def radiocheck(arguments: list[str], person: str, out: Path) -> int:
    """Run radiocheck's own command line as a person, with its output in a file."""
    child = os.fork()
    if child == 0:
        code = 70
        try:
            code = _as_person(arguments, person, out)
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 71
        except BaseException:
            traceback.print_exc()
        finally:
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _as_person(arguments: list[str], person: str, out: Path) -> int:
    fd = os.open(out, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
    errors = os.open(f"{out}.err", os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
    entry = pwd.getpwnam(person)
    os.initgroups(person, entry.pw_gid)
    os.setgid(entry.pw_gid)
    os.setuid(entry.pw_uid)
    os.dup2(fd, 1)
    os.dup2(errors, 2)
    # What a login would give, and nothing of the unit that plays the scenarios.
    os.environ.clear()
    os.environ.update(PATH="/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin")
    os.environ.update(HOME=entry.pw_dir, USER=person, LOGNAME=person, LANG="C.UTF-8")
    os.chdir(entry.pw_dir)
    from radiocheck.cli.main import run

    return run(arguments)


def shell(lines: list[str], limit: int = LIMIT) -> dict[str, Any]:
    """Run shell lines with the helpers at hand; stop at the first that fails."""
    script = f"source {SHARE}/guest/lib.sh\n"
    for line in lines:
        script += f"{{ {line}\n}} || {{ echo 'bench: this line failed:' {json.dumps(line)} >&2; exit 1; }}\n"
    started = time.monotonic()
    # In a file, since a background process keeps a pipe open for ever.
    out = Path("/run/shell.out")
    with out.open("wb") as sink:
        process = subprocess.Popen(
            ["bash", "-c", script],
            stdin=subprocess.DEVNULL,
            stdout=sink,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
        try:
            code = process.wait(limit)
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, 9)
            process.wait()
            code = 124
    text = out.read_text(encoding="utf-8", errors="replace")
    return {"lines": lines, "code": code, "out": text, "seconds": round(time.monotonic() - started, 1)}


def judged(name: str, person: str, user: str) -> dict[str, Any]:
    """Capture the evidence as that person and have it judged outside."""
    evidence = SHARE / "evidence" / f"{name}.json"
    started = time.monotonic()
    code = radiocheck(["capture", "-", "--user", user], person, evidence)
    seconds = round(time.monotonic() - started, 1)
    errors = Path(f"{evidence}.err")
    said = errors.read_text(encoding="utf-8", errors="replace")
    errors.unlink()
    if code:
        return {"code": code, "error": said, "seconds": seconds}
    # The question is complete when it bears its final name.
    ask = SHARE / "ask" / f"{name}.json"
    ask.with_suffix(".part").write_text(json.dumps({"evidence": evidence.name}))
    ask.with_suffix(".part").rename(ask)
    answer = SHARE / "answer" / f"{name}.json"
    while not answer.exists():
        time.sleep(0.1)
    return {**json.loads(answer.read_text()), "seconds": seconds}


def captured_inside(name: str, user: str) -> dict[str, Any]:
    """Capture in the real guest that the set-up started.  The judgement outside finds the file by its name."""
    started = time.monotonic()
    said = inner.ask(capture=user)
    if said["code"] == 0:
        (SHARE / "evidence" / f"{name}.guest.json").write_text(said["out"], encoding="utf-8")
    return {"code": said["code"], "out": said["out"][-2000:], "seconds": round(time.monotonic() - started, 1)}


def whole(name: str, user: str) -> dict[str, Any]:
    """Run `radiocheck check` from its own start to its end in here, as a person would."""
    started = time.monotonic()
    command = ["radiocheck", "check", "--format", "json", "--user", user]
    done = subprocess.run(command, capture_output=True, text=True, timeout=LIMIT, check=False)
    (SHARE / "evidence" / f"{name}.check.json").write_text(done.stdout)
    answer = {"code": done.returncode, "error": done.stderr}
    answer["seconds"] = round(time.monotonic() - started, 1)
    if done.returncode != 2:
        answer["report"] = json.loads(done.stdout)
    return answer


def remedies(report: dict[str, Any], rule: str) -> list[dict[str, Any]]:
    """All remedies that the report prints for one rule, in order."""
    return [
        remedy
        for chain in report.get("chains", [])
        for step in chain["steps"]
        for finding in step["findings"]
        if finding["rule"] == rule and finding["result"] == "found"
        for remedy in finding["remedies"]
    ]


def remedy_lines(report: dict[str, Any], wanted: dict[str, Any]) -> tuple[dict[str, Any], list[str]]:
    """Choose the remedy that the scenario means, and the lines that do it."""
    for remedy in remedies(report, wanted["rule"]):
        command = remedy.get("command")
        if not re.search(wanted.get("which", ""), f"{remedy['do']}\n{command or ''}"):
            continue
        if wanted.get("by_hand"):
            return remedy, wanted["by_hand"]
        if command and (remedy["risk"] != "reads"):
            return remedy, [command]
    return {}, []


def laid_out(remedy: dict[str, Any]) -> list[str]:
    """Save the printed configuration as the remedy says, and give the lines that go there.

    What is not to be saved is put into a command by hand, which finds it in $CONFIGURATION.
    """
    DESK.mkdir(exist_ok=True)
    text = remedy.get("configuration") or ""
    if remedy.get("file"):
        (DESK / remedy["file"]).write_text(text + "\n", encoding="utf-8")
    return [f"cd {DESK}", f"CONFIGURATION={shlex.quote(text)}"]


def play(scenario: dict[str, Any]) -> dict[str, Any]:
    """Play one scenario and say what happened."""
    name, user = scenario["name"], scenario.get("user", PERSON)
    started = time.monotonic()
    result: dict[str, Any] = {"name": name, "setup": shell(scenario["setup"])}
    if result["setup"]["code"] == 0:
        result["look"] = [shell([line]) for line in scenario["look"]]
        if scenario.get("guest"):
            result["guest"] = captured_inside(name, user)
        result["root"] = judged(name, "root", user)
        result["person"] = judged(f"{name}.person", PERSON, user)
        if scenario.get("whole"):
            result["whole"] = whole(name, user)
        wanted = scenario.get("remedy")
        if wanted:
            remedy, lines = remedy_lines(result["root"].get("report", {}), wanted)
            result["remedy"] = {"do": remedy.get("do", ""), "lines": lines}
            if lines:
                lines = [*laid_out(remedy), *lines]
                result["remedy"]["shell"] = shell([*lines, *wanted.get("then", ["settle", "sleep 3"])])
                if scenario.get("guest"):
                    captured_inside(f"{name}.remedied", user)
                result["remedied"] = judged(f"{name}.remedied", "root", user)
    if scenario.get("dump"):
        subprocess.run(["bash", str(SHARE / "guest/dump.sh"), str(SHARE / "dump" / name)], check=False)
    result["cleanup"] = shell([*scenario.get("cleanup", []), "reset_machine"])
    result["seconds"] = round(time.monotonic() - started, 1)
    return result


def main() -> None:
    """Install, play everything, and leave: the unit then powers the machine off."""
    for folder in ("results", "evidence", "ask", "answer", "dump"):
        (SHARE / folder).mkdir(exist_ok=True)
    plan = json.loads((SHARE / "plan.json").read_text())
    install()
    preload()
    shell(["reset_machine"])
    for scenario in plan:
        if (SHARE / "enough").exists():
            break  # the time is used up
        try:
            result = play(scenario)
        except Exception:
            result = {"name": scenario["name"], "failed": traceback.format_exc()}
            shell(["reset_machine"])
        part = SHARE / "results" / f"{scenario['name']}.part"
        part.write_text(json.dumps(result))
        part.rename(part.with_suffix(".json"))


if __name__ == "__main__":
    main()
