"""What the documents show is what happens: commands, conversations, walked examples; and what the wheel holds."""

from __future__ import annotations

import re
import shlex
import shutil
import stat
import subprocess
import sys
import zipfile
from dataclasses import dataclass
from pathlib import Path

import pytest
import yaml
from talking import COMMAND, ROOT, Talk, advisor, conversation, environment, mind

talk = pytest.fixture(conversation)

README, GUIDE = ROOT / "README.md", ROOT / "DEVELOPERS.md"
DATA = ("knowledge_graph", "dialogues")
SHOWN = re.compile(r"^(?:\$ )?(?:\S*/)?(advisor .*?)(?:\s+#.*)?$")
# these don't end by themselves, or are run by a test of their own
NOT_RUN = {"serve-actions", "serve", "web", "chat"}


def blocks(text: str, mark: str | None = None) -> list[str]:
    """The fenced blocks of a document; with a mark, those that follow `<!-- mark -->` at once."""
    lead = rf"<!-- {re.escape(mark)} -->\s*\n" if mark else ""
    return re.findall(rf"{lead}^```\w*\n(.*?)^```", text, flags=re.M | re.S)


def conversations() -> list[str]:
    return [block for path in (README, GUIDE) for block in blocks(path.read_text(encoding="utf-8"), "conversation")]


def commands() -> list[list[str]]:
    """The advisor's commands in the blocks of the documents, fenced or indented, walks left away."""
    found = []
    for path in (README, GUIDE):
        text = re.sub(r"<!-- walk: .*?<!-- end -->", "", path.read_text(encoding="utf-8"), flags=re.S)
        code = [line for block in blocks(text) for line in block.splitlines()]
        code += [line[4:] for line in text.splitlines() if line.startswith("    ")]
        matches = [SHOWN.match(line.strip()) for line in code]
        found += [shlex.split(match[1])[1:] for match in matches if match]
    return [words for words in found if words and words[0] not in NOT_RUN]


def test_the_readme_shows_a_conversation_a_command_and_how_to_test() -> None:
    text = README.read_text(encoding="utf-8")
    assert blocks(text, "conversation") != []
    assert len(blocks(text, "test command")) == 1
    assert "advisor chat" in text


@pytest.mark.parametrize("shown", conversations())
def test_a_conversation_shown_is_what_is_said(shown: str, talk: Talk, tmp_path: Path) -> None:
    reply: list[str] = []
    typed = []
    for line in shown.splitlines():
        if line.startswith("> "):
            typed.append(line[2:])
            reply = [said.strip() for said in talk.say(line[2:])["reply"].splitlines()]
        elif line.strip() and line.strip() != "...":
            wanted = line.strip()
            assert wanted in reply, f"after {typed[-1]!r}: {wanted!r} is not in what is left of the answer: {reply}"
            reply = reply[reply.index(wanted) + 1 :]
    assert typed != []
    done = advisor(tmp_path, "chat", "--plain", "--no-log", typed="".join(f"{line}\n" for line in typed).encode())
    assert done.stdout.decode() == "".join(f"{turn['reply']}\n\n" for turn in talk.turns)


@pytest.mark.parametrize("words", commands(), ids=" ".join)
def test_a_command_shown_works(words: list[str], tmp_path: Path) -> None:
    done = advisor(tmp_path, *words)
    assert done.returncode == 0, done.stderr
    assert done.stdout != b""


def test_the_check_command_for_ci_is_the_readmes(tmp_path: Path) -> None:
    """`.ci/run` runs in a folder with the README; a stand-in for bash tells what it is given to run."""
    (tmp_path / ".ci").mkdir()
    shutil.copy(ROOT / ".ci" / "run", tmp_path / ".ci" / "run")
    shutil.copy(README, tmp_path / "README.md")
    stand_in = tmp_path / "bin" / "bash"
    stand_in.parent.mkdir()
    stand_in.write_text('#!/bin/sh\nfor word in "$@"; do printf "<%s>" "$word"; done\n', encoding="utf-8")
    stand_in.chmod(stand_in.stat().st_mode | stat.S_IXUSR)
    path = f"{stand_in.parent}:/usr/bin:/bin"
    run = subprocess.run(
        ["/bin/bash", str(tmp_path / ".ci" / "run")], capture_output=True, text=True, env={"PATH": path}
    )
    (command,) = blocks(README.read_text(encoding="utf-8"), "test command")
    assert (run.returncode, run.stderr) == (0, "")
    assert run.stdout.endswith(f"<-c><{command.strip()}>")
    assert "pytest" in command or ".ci/check" in command


def test_ci_refuses_a_readme_without_a_test_command(tmp_path: Path) -> None:
    (tmp_path / ".ci").mkdir()
    shutil.copy(ROOT / ".ci" / "run", tmp_path / ".ci" / "run")
    (tmp_path / "README.md").write_text("# Nothing\n", encoding="utf-8")
    run = subprocess.run(["/bin/bash", str(tmp_path / ".ci" / "run")], capture_output=True, text=True)
    assert run.returncode != 0
    assert "no test command" in run.stdout


# The walks


@dataclass(frozen=True)
class Walk:
    """One walked example: its text, the files it names, the YAML it shows, the commands it says to run."""

    text: str
    files: tuple[str, ...]
    yaml: str
    commands: tuple[tuple[str, ...], ...]


def walk(name: str) -> Walk:
    (text,) = re.findall(rf"<!-- walk: {name} -->\n(.*?)<!-- end -->", GUIDE.read_text(encoding="utf-8"), flags=re.S)
    spoken = re.sub(r"^```.*?^```", "", text, flags=re.M | re.S)
    quoted = re.findall(r"`([^`]+)`", spoken)
    files = tuple(part for part in quoted if part.endswith(".yaml"))
    run = tuple(tuple(shlex.split(part)[1:]) for part in quoted if part.startswith("advisor "))
    (shown,) = blocks(text)
    return Walk(spoken, files, shown, run)


@pytest.fixture
def copies(tmp_path: Path) -> Path:
    for name in DATA:
        shutil.copytree(ROOT / name, tmp_path / name)
    return tmp_path


def run_walk(copies: Path, words: tuple[str, ...]) -> subprocess.CompletedProcess[bytes]:
    folders = [
        option
        for name, flag in zip(DATA, ("--knowledge", "--dialogues"), strict=True)
        for option in (flag, str(copies / name))
    ]
    return advisor(copies / "state", *words, *folders)


def test_add_a_rule_as_the_guide_walks_it(copies: Path) -> None:
    steps = walk("add a rule")
    (place,) = steps.files
    (command,) = steps.commands
    (copies / place).parent.mkdir(exist_ok=True)
    (copies / place).write_text(steps.yaml, encoding="utf-8")
    after = run_walk(copies, command)
    assert after.returncode == 0, after.stdout
    assert after.stdout.startswith(f"{len(mind().graph.rules) + 1} rules,".encode())
    assert after.stdout.endswith(b" 0 problems\n")
    # what the walk says of the check: it tells, with its place, where no case would notice a change
    kept = [line for line in steps.yaml.splitlines() if "a quiet dock" not in line and "nothing known" not in line]
    (copies / place).write_text("\n".join(kept) + "\n", encoding="utf-8")
    blunt = run_walk(copies, command)
    assert blunt.returncode == 1
    assert place.encode() + b":" in blunt.stdout


def test_add_a_phrase_as_the_guide_walks_it(copies: Path) -> None:
    steps = walk("add a phrase")
    (place,) = steps.files
    (command,) = steps.commands
    ((entry, shown),) = yaml.load(steps.yaml, yaml.BaseLoader).items()
    phrase = shown["phrases"][-1]
    expected = re.findall(r"it shows `([^`]+)`", steps.text)[0]
    assert [heard.fact for heard in mind().listener.hear(command[-1]).heard if heard.fact in expected] == []
    text = (copies / place).read_text(encoding="utf-8")
    added, count = re.subn(rf"(^{entry}:\n(?:  .*\n)*?  phrases: \[)", rf"\g<1>{phrase}, ", text, flags=re.M)
    assert count == 1
    (copies / place).write_text(added, encoding="utf-8")
    done = run_walk(copies, command)
    assert (done.returncode, done.stderr) == (0, b"")
    assert expected in done.stdout.decode()


def test_reword_a_question_as_the_guide_walks_it(copies: Path) -> None:
    steps = walk("reword a question")
    (place,) = steps.files
    (command,) = steps.commands
    ((fact, shown),) = yaml.load(steps.yaml, yaml.BaseLoader).items()
    assert shown["text"] != mind().book.questions[fact].text
    text = (copies / place).read_text(encoding="utf-8")
    reworded, count = re.subn(rf"(^{fact}:\n(?:  .*\n)*?  text: ).*", rf"\g<1>{shown['text']}", text, flags=re.M)
    assert count == 1
    (copies / place).write_text(reworded, encoding="utf-8")
    done = run_walk(copies, command)
    assert (done.returncode, done.stderr) == (0, b"")
    assert shown["text"] in done.stdout.decode()


# The wheel


def test_the_wheel_holds_the_data_and_works_alone(tmp_path: Path) -> None:
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path / "dist")]
    made = subprocess.run(build, capture_output=True, text=True, cwd=ROOT, timeout=60)
    assert made.returncode == 0, made.stderr
    (wheel,) = (tmp_path / "dist").glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        names = packed.namelist()
        for name in DATA:
            held = {
                path.removeprefix("advisor/_shipped/") for path in names if path.startswith(f"advisor/_shipped/{name}/")
            }
            assert {str(path.relative_to(ROOT)) for path in (ROOT / name).rglob("*.yaml")} <= held
        assert not [path for path in names if not path.startswith(("advisor/", "door_hardware_advisor-"))]
        packed.extractall(tmp_path / "site")
    program = "from advisor.yaml_files import data_folder; print(data_folder('knowledge_graph'))"
    alone = environment(tmp_path, {"PYTHONPATH": str(tmp_path / "site")})
    where = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, env=alone, cwd=tmp_path)
    assert where.stdout.strip() == str(tmp_path / "site" / "advisor" / "_shipped" / "knowledge_graph")
    done = subprocess.run(
        [*COMMAND, "ask", "--plain", "--no-log", "a pair, 90 minutes"],
        capture_output=True,
        env=alone,
        cwd=tmp_path,
        timeout=60,
    )
    assert (done.returncode, done.stderr) == (0, b"")
