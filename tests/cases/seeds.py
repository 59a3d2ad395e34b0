"""What every drawn case must keep to, whatever its type. Each family's tests call these with their own type ids."""

from __future__ import annotations

from itertools import combinations

from cases.curriculum.register import case_type
from cases.procedure.case_type import Case, Pair, draw
from cases.procedure.settings import Settings
from cases.procedure.vocabulary import LEVELS


def settings_of(seed: int) -> Settings:
    """Go through the levels and both forms as the seeds go by."""
    return Settings(level=LEVELS[seed % 3], form=("minus", "plus")[seed // 3 % 2])


def check_cases_hide_nothing(type_id: str, seeds: int, most: int) -> None:
    """Draw many cases: no slip hides behind the truth, none behind another, and every slip shows in some case.

    seeds: how many cases at least; most: how many until a slip that few cases show has been met.
    """
    kind = case_type(type_id)
    unseen = {f"{ref.step}/{ref.slip}" for ref in kind.slips}
    for seed in range(max(seeds, most)):
        if seed >= seeds and not unseen:
            break
        case = draw(kind, seed, settings_of(seed))
        for one in case.singles:
            unseen.discard(f"{one.slips[0].step}/{one.slips[0].slip}")
            for written in kind.meant(one.answer):
                assert not kind.close(written, case.truth), f"{type_id} {seed}: {one.slips} hides behind the truth"
        for a, b in combinations(case.singles, 2):
            if not kind.are_twins(a.slips[0], b.slips[0]):
                assert not kind.same(a.answer, b.answer), f"{type_id} {seed}: {a.slips} and {b.slips} give one answer"
        _check_answers_survive_writing(case)
    assert not unseen, f"{type_id}: never live in {max(seeds, most)} cases: {sorted(unseen)}"


def _check_answers_survive_writing(case: Case) -> None:
    """Read the truth back as the app writes it, and the findings back from JSON: nothing may be lost."""
    for ask in case.type.asks:
        truth = case.truth[ask.name]
        written = ask.kind.write(truth)
        assert ask.kind.close(ask.kind.read(written), truth), f"{case.type.id}: {written} is not read back"
    again = case.type.case_from_json(case.type.findings.to_json(case.findings))
    assert case.type.close(again.truth, case.truth), f"{case.type.id} {case.seed}: findings do not survive JSON"


def check_twins_are_parted(type_id: str) -> None:
    """Every declared pair of twins coincides in some case and has a probe that draws a case in which they part."""
    kind = case_type(type_id)
    for pair in kind.twins:
        probes = [probe for probe in kind.probes if set(probe.twins) == set(pair)]
        assert probes, f"{type_id}: twins {pair} have no probe"
        for probe in probes:
            assert draw_parting(probe.type_id, pair).parts(pair)
        # Some twins meet in one case of sixty alone; the first that does is enough.
        drawn = (draw(kind, seed, settings_of(seed)) for seed in range(240))
        met = (case for case in drawn if all(case.slipped(ref) for ref in pair))
        assert any(_coincide(case, pair) for case in met), f"{type_id}: {pair} are declared twins but never coincide"


def draw_parting(type_id: str, pair: Pair) -> Case:
    """Draw the short case that tells two twins apart."""
    return draw(case_type(type_id), 1, Settings(), wanted=lambda case: case.parts(pair))


def _coincide(case: Case, pair: Pair) -> bool:
    a, b = (next(one for one in case.singles if one.slips == (ref,)) for ref in pair)
    return case.type.alike(a.answer, b.answer)
