"""The house in order: linted, typed, documented commands that exist, nothing that does not belong."""

from __future__ import annotations

import posixpath
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from fnmatch import fnmatch
from functools import cache
from pathlib import Path, PurePosixPath

import pytest

from tests.mutation.__main__ import ROOMS, known

ROOT = Path(__file__).resolve().parent.parent


def ran(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(arguments, cwd=ROOT, capture_output=True, text=True, check=False)


def test_ruff_is_clean() -> None:
    found = ran(sys.executable, "-m", "ruff", "check", ".")
    assert found.returncode == 0, found.stdout
    found = ran(sys.executable, "-m", "ruff", "format", "--check", ".")
    assert found.returncode == 0, found.stdout


def test_mypy_is_clean() -> None:
    found = ran(sys.executable, "-m", "mypy")
    assert found.returncode == 0, found.stdout


DOCUMENTS = sorted(ran("git", "ls-files", "--cached", "--others", "--exclude-standard", "*.md").stdout.split())


def text_of(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


COMMANDS = sorted(
    {one for name in DOCUMENTS for one in re.findall(r"python -m (?:cases|quiz) [a-z][a-z-]*", text_of(name))}
)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_in_the_documents_exists(command: str) -> None:
    found = ran(sys.executable, *command.split()[1:], "--help")
    assert found.returncode == 0, found.stderr


# --- what documents name is there -------------------------------------------------------------------------------------

TOPS = r"(?:cases|quiz|static|tests|\.ci|\.pictures)"
ENDINGS = r"(?:py|md|js|css|html|toml|json|lock|typed)"
MADE = {"about.html"}
"""Files that the app makes: a QTI package has one."""


def named_in(name: str, text: str, files: Collection[str]) -> Iterator[tuple[str, bool]]:
    """Every path, file, module and link that a document names, each with whether it is there."""
    here = PurePosixPath(name).parent
    folders = {str(one) for path in files for one in PurePosixPath(path).parents}
    names = {PurePosixPath(path).name for path in files}

    def there(path: str) -> bool:
        known = {*files, *folders}
        return path in known or ("*" in path and any(fnmatch(one, path) for one in known))

    for target in re.findall(r"\]\(([^)#:\s]+)(?:#[^)]*)?\)", text):
        yield target, there(posixpath.normpath(str(here / target)))
    for path in re.findall(rf"(?<![\w./-]){TOPS}/[\w/.*-]*[\w*]", text):
        yield path, there(path)
    for path in re.findall(r"`([\w*-]+(?:/[\w*.-]+)+|[\w-]+/)`", text):
        if not re.match(rf"{TOPS}/", path):
            yield path, any(there(posixpath.normpath(str(one / path))) for one in (here, *here.parents))
    for file in re.findall(rf"`([\w.*-]+\.{ENDINGS})`", text):
        yield file, file in MADE or any(fnmatch(one, file) for one in names)
    for module in re.findall(r"(?:python -m |`)((?:tests|cases|quiz)(?:\.\w+)+)", text):
        yield module, is_dotted(module, files)


def is_dotted(dotted: str, files: Collection[str]) -> bool:
    """Whether a dotted name is a module or a package, or a name that is written in one."""
    parts = dotted.split(".")
    for length in range(len(parts), 1, -1):
        stem, rest = "/".join(parts[:length]), parts[length:]
        for path in (f"{stem}.py", f"{stem}/__init__.py"):
            if path in files:
                return all(re.search(rf"\b{one}\b", text_of(path)) for one in rest)
    return False


@cache
def listed_files() -> frozenset[str]:
    found = ran("git", "ls-files", "--cached", "--others", "--exclude-standard").stdout.split()
    return frozenset(one for one in found if (ROOT / one).is_file())


@pytest.mark.parametrize("name", DOCUMENTS)
def test_what_a_document_names_is_there(name: str) -> None:
    assert sorted({what for what, there in named_in(name, text_of(name), listed_files()) if not there}) == []


@pytest.mark.parametrize(
    "wrong",
    [
        *("`cases/optics/retinoscope.py`", "tests/cases/families/test_x.py", "`dealings.py`", "`learning/folding.py`"),
        *("[a sign](optics/README.md)", "`python -m tests.nothing`", "`quiz.practice.dealing.no_such_name`", "`a/`"),
    ],
)
def test_what_is_not_there_is_seen(wrong: str) -> None:
    found = list(named_in("quiz/README.md", f"See {wrong}.", listed_files()))
    assert found
    assert not any(there for _, there in found)


def cited_in(text: str) -> set[str]:
    """Documents and modules that the words of a source file name, by their path or file name."""
    return set(re.findall(r"(?<![\w*{}./-])((?:[\w-]+/)*[\w-]+\.(?:md|py))\b", text))


def test_code_names_documents_and_modules_that_are_there() -> None:
    files = listed_files()
    names = {PurePosixPath(one).name for one in files}
    sources = [one for one in files if re.match(r"(cases|quiz|static)/.+\.(py|js|html|css|toml)$", one)]
    gone = {
        f"{source}: {cited}"
        for source in sources
        for cited in cited_in(text_of(source))
        if cited not in files and ("/" in cited or cited not in names)
    }
    assert gone == set()
    assert cited_in("as contract.md has it; scheduler.py's") == {"contract.md", "scheduler.py"}


def test_packages_cite_the_room_and_not_the_front_page() -> None:
    """A source that a learner reads names where something is derived: the sign of its room."""
    sources = [one for one in listed_files() if re.match(r"(cases|quiz)/.+\.py$", one)]
    assert [one for one in sources if "DEVELOPERS" in text_of(one)] == []


# --- limits: what one person can look over ----------------------------------------------------------------------------

SOURCES = {".py", ".js", ".css", ".html", ".toml"}
FRONT_LINES, SIGN_LINES, FOLDER_FILES, SIGNED_FROM = 150, 40, 25, 5
SIGNED_ANYWAY = ("cases/curriculum", "tests", "tests/benchmarks")
MAY_RECUR = {"routes.py", "views.py", "__init__.py", "__main__.py", "conftest.py", "README.md", "DECISIONS.md"}
"""Names that say what a file is for, in the folder that says for what."""
CLASSES_TWICE = {
    "cases": {"Group", "Look", "Mark", "Unreadable", "View"},
    "quiz": {"Answer", "Cell", "Compared", "Filled", "Input", "Offer", "Place", "Row", "Scale", "SlipLine", "Whole"},
    "tests": {"Browser", "Visitor"},
}
"""Names that two classes of a package have yet. This may get shorter and never longer."""


def folders(*tops: str) -> dict[str, list[str]]:
    """Source files by folder."""
    out: dict[str, list[str]] = {}
    for one in sorted(listed_files()):
        path = PurePosixPath(one)
        if path.parts[0] in tops and path.suffix in SOURCES:
            out.setdefault(str(path.parent), []).append(path.name)
    return out


def twice(names: Iterable[str]) -> set[str]:
    return {name for name, times in Counter(names).items() if times > 1}


def test_the_front_page_and_the_signs_are_short() -> None:
    assert len(text_of("DEVELOPERS.md").splitlines()) <= FRONT_LINES
    signs = [one for one in DOCUMENTS if re.fullmatch(r"(cases|quiz)/(.+/)?README\.md|tests/README\.md", one)]
    assert {one for one in signs if len(text_of(one).splitlines()) > SIGN_LINES} == set()


def test_each_room_has_a_sign_and_can_be_looked_over() -> None:
    large = {folder for folder, files in folders("cases", "quiz").items() if len(files) > SIGNED_FROM}
    assert {one for one in (*large, *SIGNED_ANYWAY) if f"{one}/README.md" not in DOCUMENTS} == set()
    crowded = {one: len(files) for one, files in folders("cases", "quiz", "static", "tests").items()}
    assert {one: number for one, number in crowded.items() if number > FOLDER_FILES} == {}


@pytest.mark.parametrize("package", ["cases", "quiz", "tests"])
def test_no_file_name_stands_for_two_things(package: str) -> None:
    files = [PurePosixPath(one).name for one in listed_files() if one.startswith(f"{package}/")]
    assert twice(files) - MAY_RECUR == set()


@pytest.mark.parametrize("package", ["cases", "quiz", "tests"])
def test_no_more_classes_share_a_name(package: str) -> None:
    modules = [text_of(one) for one in listed_files() if one.startswith(f"{package}/") and one.endswith(".py")]
    assert twice(name for text in modules for name in re.findall(r"^class (\w+)", text, re.M)) <= CLASSES_TWICE[package]


# --- the tree ---------------------------------------------------------------------------------------------------------


def test_the_faults_that_may_live_have_reasons_and_stand_in_the_code_yet() -> None:
    """What `python -m tests.mutation` leans on: modules and tests that are there, lines not rewritten since."""
    for modules in ROOMS.values():
        for module, tests in modules.items():
            assert [name for name in (module, *tests) if not (ROOT / name).is_file()] == []
    files = {path.name: path for module in ROOMS.values() for path in map(ROOT.joinpath, module)}
    for survivor, reason in known().items():
        assert reason, survivor
        lines = " ".join(line.strip() for line in files[survivor.file].read_text(encoding="utf-8").splitlines())
        assert survivor.was in lines, survivor


def test_nothing_in_the_tree_names_a_path_of_one_machine() -> None:
    apart = (".ci/", "tests/test_house")  # the pattern itself, and what looks for it
    tracked = [name for name in ran("git", "ls-files").stdout.split() if not name.startswith(apart)]
    pattern = re.compile(r"(^|[^\w.])/(root|home|work|farm)/\w|\.\./shared")
    files = {name: ROOT / name for name in tracked if (ROOT / name).is_file()}
    texts = {name: path.read_bytes().decode("utf-8", "ignore") for name, path in files.items()}
    assert [name for name, text in texts.items() if pattern.search(text)] == []


def test_no_merge_was_left_half_done() -> None:
    marks = ran("git", "grep", "-lE", "^(<{7}|>{7}) ").stdout.split()
    assert marks == []
