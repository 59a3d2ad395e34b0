"""The command line of the core: list, draw, work, mark, show, new, sheet, look, patients. README.md has its JSON."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import two_meridians

from cases.errors import CaseError

if TYPE_CHECKING:
    from cases.curriculum.case_list import CaseList
    from cases.procedure.case_type import Case, CaseType
    from cases.procedure.settings import Settings

PROGRAM = "two-meridians-cases" if Path(sys.argv[0]).stem == "two-meridians-cases" else "python -m cases"

Command = Callable[..., None]


class BadInput(CaseError):
    """Something on the command line cannot be used."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return 0, or 2 with one line on standard error for input that cannot be used."""
    return two_meridians.run(commands, arguments, name="cases", errors=CaseError, program=PROGRAM)


as_json = click.option("--json", "as_json", is_flag=True, help="JSON on standard output, nothing else")
with_region = click.option(
    "--region", default="europe", help="drawn patients as in europe, east-asia or less-plus (default: europe)"
)
the_type = click.argument("type_id", metavar="TYPE")


def with_settings(command: Command) -> Command:
    """Give a command the options that fix how cases are drawn, as one argument `settings`."""

    @click.option("--form", type=click.Choice(["minus", "plus"]), default="minus", help="cylinder form asked for")
    @click.option("--level", type=click.Choice(["novice", "competent", "expert"]), default="competent")
    @click.option("--distance", default="67", metavar="CM", help="usual working distance (default: 67)")
    @click.option("--fixed-distance", is_flag=True, help="every case at that distance")
    @with_region
    @wraps(command)
    def whole(*, form: str, level: str, distance: str, fixed_distance: bool, region: str, **more: Any) -> None:
        from cases.procedure.quantities import DISTANCE
        from cases.procedure.settings import Settings

        distance_cm = DISTANCE.read(distance)
        command(
            settings=Settings(
                form=form, level=level, distance_cm=distance_cm, fixed_distance=fixed_distance, region=region
            ),
            **more,
        )

    return whole


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@two_meridians.version_option
def commands() -> None:
    """Retinoscopy cases with computed answers, workings and slips."""


@commands.command("list")
@as_json
def list_types(as_json: bool) -> None:
    """Every case type, with its steps and slips."""
    from cases.curriculum.register import all_types, not_loaded
    from cases.procedure.documents import type_document

    for line in not_loaded():
        click.echo(f"cases: {line}", err=True)
    if as_json:
        _print_json([type_document(one) for one in all_types().values()])
        return
    for one in all_types().values():
        click.echo(f"{one.id:28} {one.family.id:10} {one.family.title:28} {one.level:10} {one.title}")


@commands.command("draw")
@the_type
@click.option("--seed", type=int, required=True, help="the same seed draws the same case everywhere")
@click.option("--count", type=int, default=1, help="how many, at seed, seed + 1, …")
@with_settings
@as_json
def draw_cases(type_id: str, seed: int, count: int, settings: Settings, as_json: bool) -> None:
    """Draw cases of a type.

    TYPE is its id, as `list` gives it.
    """
    from cases.procedure.case_type import draw
    from cases.procedure.documents import case_document

    if not 1 <= count <= 100_000:
        raise BadInput(f"count {count}: give 1 to 100000")
    for one in range(seed, seed + count):
        case = draw(_type(type_id), one, settings)
        if as_json:
            _print_json(case_document(case))
        else:
            asked = (case.type.question(case.findings), case.type.marked_within)
            click.echo("\n".join((*case.type.found(case.findings), *filter(None, asked), "")))


@commands.command("work")
@the_type
@click.option("--findings", required=True, help="findings as JSON")
@as_json
def work_out(type_id: str, findings: str, as_json: bool) -> None:
    """Work out a case from your own findings."""
    from cases.procedure.documents import case_document

    case = _given(type_id, findings)
    if as_json:
        _print_json(case_document(case))
        return
    click.echo("\n".join(line.says for line in case.run.lines))
    click.echo("; ".join(f"{ask.label}: {ask.kind.write(case.truth[ask.name])}" for ask in case.type.asks))


@commands.command("mark")
@the_type
@click.option("--seed", type=int, help="of the case, as `draw` has it")
@click.option("--findings", help="of the case, as JSON, in place of a seed")
@click.option("--answer", required=True, help="as typed; several parts with semicolons between")
@with_settings
@as_json
def mark_answer(
    type_id: str, seed: int | None, findings: str | None, answer: str, settings: Settings, as_json: bool
) -> None:
    """Mark an answer to a case.

    Which case it is, a seed says or findings of your own.
    """
    from cases.procedure.case_type import draw
    from cases.procedure.marking import mark_text
    from cases.procedure.option_verdicts import option_verdicts

    if (seed is None) == (findings is None):
        raise BadInput("mark: give either --seed N or --findings JSON, to say which case it is")
    case = draw(_type(type_id), seed or 0, settings) if findings is None else _given(type_id, findings)
    mark = mark_text(case, answer)
    if as_json:
        _print_json(mark.to_json() | {"options": [one.to_json() for one in option_verdicts(mark.case)]})
        return
    click.echo(mark.verdict if mark.unreadable is None else f"unreadable: {mark.unreadable}")
    for one in mark.weighed:
        slips = "; ".join(f"{ref.step}: {ref.slip}" for ref in one.slips)
        click.echo(f"{one.probability:.2f} {one.kind}{' ' if slips else ''}{slips}")


@commands.command("sheet")
@click.option("--types", help="type ids with commas between")
@click.option("--count", type=int, help="how many cases (default: 20)")
@click.option("--seed", type=int, help="of the first case; the next has seed + 1, …")
@click.option("--keep", metavar="FILE", help="also write the cases to a new file, for a key made later")
@click.option("--cases", metavar="FILE", help="print the cases of a file that --keep wrote; draw none")
@click.option("--key", is_flag=True, help="with answers and workings")
@click.option("--answers", is_flag=True, help="the answers alone, a line each")
@click.option("--order", type=click.Choice(["A", "B"]), help="the same cases in their own order, or in another")
@click.option("--digest", help="refuse to print unless the cases have this check code, which is on each sheet")
@with_settings
def print_sheet(
    types: str | None,
    count: int | None,
    seed: int | None,
    keep: str | None,
    cases: str | None,
    key: bool,
    answers: bool,
    order: str | None,
    digest: str | None,
    settings: Settings,
) -> None:
    """Print a worksheet or its key, as HTML."""
    from cases.curriculum.case_list import check_digest, in_version, write
    from cases.worksheet import worksheet

    if cases is None:
        listed = _drawn(types, count, seed, settings)
    else:
        given = {"types": types, "count": count, "seed": seed, "keep": keep}
        listed = _kept(cases, [f"--{name}" for name, value in given.items() if value is not None], settings)
    ordered = in_version(listed, order or "")
    if digest is not None:
        check_digest(digest, ordered.digest)
    page = worksheet(ordered, key=key, brief=answers, version=order or "")
    if keep is not None:
        _write_new(Path(keep), write(listed))
    click.echo(page)


@commands.command("show")
@the_type
@click.option("--svg", is_flag=True, help="as a picture, to be put into a file: `… show TYPE --svg > chain.svg`")
def show_chain(type_id: str, svg: bool) -> None:
    """Show a type's chain: what each step reads and gives."""
    from cases.curriculum.chain_picture import as_lines, as_svg

    click.echo(as_svg(_type(type_id)) if svg else as_lines(_type(type_id)))


@commands.command("look")
@click.option("--setting", required=True, help="eye, lenses and retinoscope, as JSON")
@as_json
def look_at(setting: str, as_json: bool) -> None:
    """Say what a retinoscope shows of an eye.

    Light in the pupil in mm², where it lies and what a sweep tells: cases/README.md has the names.
    """
    from cases.notation.setting_json import read_look
    from cases.optics.light import look_document

    asked = read_look(setting)
    document = look_document(asked.setting, asked.streak, face_mm=asked.face_mm, points_mm=asked.points_mm)
    if as_json:
        _print_json(document)
        return
    click.echo(f"{document['seen']['word']}; light on the pupil's middle {document['seen']['peak_mm2']:.2f} mm²")


@commands.command("new")
@click.argument("family")
@click.argument("type_id", metavar="TYPE")
@click.option("--new-family", is_flag=True, help="FAMILY is not one of the existing families")
def new_type(family: str, type_id: str, new_family: bool) -> None:
    """Write a new case type to start from, and its test.

    FAMILY is the id of a family, as `list` shows it, such as near; TYPE the id of the new type, such as near-add.
    """
    from cases.curriculum.skeleton import write_skeleton

    file, test = write_skeleton(family, type_id, Path.cwd(), new_family=new_family)
    click.echo(f"{file}\n{test}")
    click.echo(
        f"Next: `python -m cases draw {type_id} --seed 1` and `pytest {test.relative_to(Path.cwd())}`. When it is as "
        "it should be, keep its golden cases with `python -m tests.golden --write`. cases/curriculum/README.md has all "
        "steps.",
        err=True,
    )


@commands.command("patients")
@click.option("--count", type=int, default=1, help="how many (default: 1)")
@click.option("--seed", type=int, required=True, help="the same seed draws the same patients everywhere")
@with_region
@click.option("--age", default="0-90", metavar="LOW-HIGH", help="years, evenly between the two (default: 0-90)")
@as_json
def draw_patients(count: int, seed: int, region: str, age: str, as_json: bool) -> None:
    """Draw patients as they come in a population, one a line, both eyes.

    `wet` is the refraction under cycloplegia and `dry` that without drops, each unrounded and as written.
    """
    from cases.patients.drawing_patients import draw_patient
    from cases.patients.patient_json import patient_document, patient_line

    if not 1 <= count <= 1_000_000:
        raise BadInput(f"count {count}: give 1 to 1000000")
    ages = _ages(age)
    for one in range(count):
        patient = draw_patient(f"{seed}/{one}", age=ages, region=region)
        if as_json:
            _print_json(patient_document(patient))
        else:
            click.echo(patient_line(patient))


@commands.command("patient-sheet")
@click.option("--count", type=int, default=4, help="how many patients (default: 4)")
@click.option("--seed", type=int, required=True, help="the same seed draws the same patients everywhere")
@with_region
@click.option("--age", default="0.3-90", metavar="LOW-HIGH", help="years (default: 0.3-90)")
@click.option("--key", is_flag=True, help="with records and workings")
@click.option("--digest", help="refuse to print unless the patients have this check code, which is on each sheet")
def print_patients(count: int, seed: int, region: str, age: str, key: bool, digest: str | None) -> None:
    """Print patients on paper, with records to write, or the key, as HTML.

    Two in five are drawn by what they teach. Each has a second log with one fault to find.
    """
    from cases.curriculum.case_list import check_digest
    from cases.patient_sheet import check_code, drawn_patients, patient_sheet

    patients = drawn_patients(count=count, seed=seed, region=region, within=_ages(age))
    if digest is not None:
        check_digest(digest, check_code(patients))
    click.echo(patient_sheet(patients, key=key))


def _ages(text: str) -> tuple[float, float]:
    low, _, high = text.partition("-")
    try:
        return float(low), float(high or low)
    except ValueError:
        raise BadInput(f"age “{text[:40]}”: give the lower and the higher age in years, for example 6-12") from None


def _type(type_id: str) -> CaseType:
    from cases.curriculum.register import case_type

    return case_type(type_id)


def _given(type_id: str, findings: str) -> Case:
    try:
        read = json.loads(findings)
    except (ValueError, RecursionError) as error:
        raise BadInput(f'findings are not JSON ({error}): give an object such as {{"distance_cm": 67}}') from error
    return _type(type_id).case_from_json(read)


def _drawn(types: str | None, count: int | None, seed: int | None, settings: Settings) -> CaseList:
    from cases.worksheet import drawn_list

    if types is None or seed is None:
        raise BadInput("sheet: give --types and --seed to draw cases, or --cases FILE for cases that were kept")
    count = 20 if count is None else count
    if not 1 <= count <= 200:
        raise BadInput(f"count {count}: give 1 to 200")
    named = [_type(one.strip()) for one in types.split(",") if one.strip()]
    if not named:
        raise BadInput("types: name at least one, with commas between")
    return drawn_list(named, count=count, seed=seed, settings=settings)


def _kept(file: str, drawing: Sequence[str], settings: Settings) -> CaseList:
    from cases.curriculum.case_list import read
    from cases.procedure.settings import Settings as Usual

    if drawing or settings != Usual():
        raise BadInput(f"--cases has the cases already: leave out {', '.join(drawing) or 'level, form and distance'}")
    try:
        return read(Path(file).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"--cases {file}: it cannot be read ({error}); give a file that --keep wrote") from error


def _write_new(path: Path, text: str) -> None:
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise BadInput(
            f"--keep {path}: there is a file of that name; print its cases with --cases, or give another name"
        ) from None
    except OSError as error:
        raise BadInput(f"--keep {path}: it cannot be written ({error.strerror}); give another place") from error


def _print_json(document: Any) -> None:
    click.echo(json.dumps(document, ensure_ascii=False))


if __name__ == "__main__":
    sys.exit(main())
