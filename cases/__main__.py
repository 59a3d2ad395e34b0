"""The command line of the core: list, draw, work, mark, sheet. See DEVELOPERS.md for its JSON."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cases.errors import CaseError

if TYPE_CHECKING:
    from cases.casetype import Case, CaseType, Settings


class BadInput(CaseError):
    """Something on the command line cannot be used."""


def main(arguments: list[str] | None = None) -> int:
    """Run one command; return 0, or 2 with one line on standard error for input that cannot be used."""
    parser = _parser()
    chosen = parser.parse_args(_joined(sys.argv[1:] if arguments is None else arguments))
    try:
        chosen.run(chosen)
    except CaseError as error:
        print(f"cases: {' '.join(str(error).split())}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    return 0


def _joined(arguments: list[str]) -> list[str]:
    """Tie an answer to its option: one that starts with a minus would be taken for an option of its own."""
    out = list(arguments)
    if "--answer" in out[:-1]:
        place = out.index("--answer")
        out[place : place + 2] = [f"--answer={out[place + 1]}"]
    return out


def _new(chosen: argparse.Namespace) -> None:
    from cases.skeleton import write_skeleton

    for path in write_skeleton(chosen.family, chosen.type, Path.cwd()):
        print(path.relative_to(Path.cwd()))


class _OneLineParser(argparse.ArgumentParser):
    def error(self, message: str) -> Any:
        self.exit(2, f"{self.prog}: {message}; `python -m cases --help` shows how\n")


def _parser() -> argparse.ArgumentParser:
    parser = _OneLineParser(prog="cases", description="Retinoscopy cases with computed answers, workings and slips.")
    commands = parser.add_subparsers(required=True, metavar="COMMAND", parser_class=_OneLineParser)

    listing = commands.add_parser("list", help="every case type, with its steps and slips")
    listing.set_defaults(run=_list)

    new = commands.add_parser("new", help="write a new case type to start from, and its test")
    new.add_argument("family", help="the id of a family, new or old, such as near")
    new.add_argument("type", help="the id of the new type, such as near-add")
    new.set_defaults(run=_new)

    drawing = commands.add_parser("draw", help="draw cases of a type")
    _add_type(drawing)
    drawing.add_argument("--seed", type=int, required=True, help="the same seed draws the same case everywhere")
    drawing.add_argument("--count", type=int, default=1, help="how many, at seed, seed + 1, …")
    _add_settings(drawing)
    drawing.set_defaults(run=_draw)

    work = commands.add_parser("work", help="work out a case from one's own findings")
    _add_type(work)
    work.add_argument("--findings", required=True, help="findings as JSON")
    work.set_defaults(run=_work)

    marking = commands.add_parser("mark", help="mark an answer")
    _add_type(marking)
    case = marking.add_mutually_exclusive_group(required=True)
    case.add_argument("--seed", type=int)
    case.add_argument("--findings", help="findings as JSON")
    marking.add_argument("--answer", required=True, help="as typed; several parts with semicolons between")
    _add_settings(marking)
    marking.set_defaults(run=_mark)

    sheet = commands.add_parser("sheet", help="a worksheet to print, as HTML")
    sheet.add_argument("--types", required=True, help="type ids with commas between")
    sheet.add_argument("--count", type=int, default=20)
    sheet.add_argument("--seed", type=int, required=True)
    sheet.add_argument("--key", action="store_true", help="with answers and workings")
    _add_settings(sheet)
    sheet.set_defaults(run=_sheet)

    for each in (listing, drawing, work, marking):
        each.add_argument("--json", action="store_true", help="JSON on standard output, nothing else")
    return parser


def _add_type(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("type", metavar="TYPE", help="a type's id, as `list` gives it")


def _add_settings(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--form", choices=("minus", "plus"), default="minus", help="cylinder form asked for")
    parser.add_argument("--level", choices=("novice", "competent", "expert"), default="competent")
    parser.add_argument("--distance", default="67", metavar="CM", help="usual working distance (default: 67)")
    parser.add_argument("--fixed-distance", action="store_true", help="every case at that distance")


def _settings(chosen: argparse.Namespace) -> Settings:
    from cases.casetype import Settings
    from cases.kinds import Distance

    return Settings(
        form=chosen.form,
        level=chosen.level,
        distance_cm=Distance().read(chosen.distance),
        fixed_distance=chosen.fixed_distance,
    )


def _type(chosen: argparse.Namespace) -> CaseType:
    from cases.register import case_type

    return case_type(chosen.type)


def _case(chosen: argparse.Namespace) -> Case:
    from cases.casetype import draw

    if getattr(chosen, "findings", None) is None:
        return draw(_type(chosen), chosen.seed, _settings(chosen))
    try:
        findings = json.loads(chosen.findings)
    except (ValueError, RecursionError) as error:
        raise BadInput(f'findings are not JSON ({error}): give an object such as {{"distance_cm": 67}}') from error
    return _type(chosen).case_from_json(findings)


def _list(chosen: argparse.Namespace) -> None:
    from cases.documents import type_document
    from cases.register import all_types

    if chosen.json:
        _print_json([type_document(one) for one in all_types().values()])
        return
    for one in all_types().values():
        print(f"{one.id:22} {one.family.title:28} {one.level:10} {one.title}")


def _draw(chosen: argparse.Namespace) -> None:
    from cases.casetype import draw
    from cases.documents import case_document

    if not 1 <= chosen.count <= 100_000:
        raise BadInput(f"count {chosen.count}: give 1 to 100000")
    for seed in range(chosen.seed, chosen.seed + chosen.count):
        case = draw(_type(chosen), seed, _settings(chosen))
        if chosen.json:
            _print_json(case_document(case))
        else:
            print("\n".join((*case.type.found(case.findings), case.type.question(case.findings), "")))


def _work(chosen: argparse.Namespace) -> None:
    from cases.documents import case_document

    case = _case(chosen)
    if chosen.json:
        _print_json(case_document(case))
        return
    print("\n".join(line.says for line in case.run.lines))
    print("; ".join(f"{ask.label}: {ask.kind.write(case.truth[ask.name])}" for ask in case.type.asks))


def _mark(chosen: argparse.Namespace) -> None:
    from cases.marking import mark_text

    mark = mark_text(_case(chosen), chosen.answer)
    if chosen.json:
        _print_json(mark.to_json())
        return
    print(mark.verdict if mark.unreadable is None else f"unreadable: {mark.unreadable}")
    for one in mark.explanations:
        print("; ".join(f"{ref.step}: {ref.slip}" for ref in one.slips))


def _sheet(chosen: argparse.Namespace) -> None:
    from cases.register import case_type
    from cases.sheet import worksheet

    if not 1 <= chosen.count <= 200:
        raise BadInput(f"count {chosen.count}: give 1 to 200")
    types = [case_type(one.strip()) for one in chosen.types.split(",") if one.strip()]
    if not types:
        raise BadInput("types: name at least one, with commas between")
    print(worksheet(types, count=chosen.count, seed=chosen.seed, settings=_settings(chosen), key=chosen.key))


def _print_json(document: Any) -> None:
    print(json.dumps(document, ensure_ascii=False))


if __name__ == "__main__":
    sys.exit(main())
