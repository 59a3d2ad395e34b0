"""What follows from one line of findings: net, other cylinder form, spherical equivalent, cross, other plane.

Every sum is a case type of Work one out, so that its working is one link away.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from cases.errors import CaseError
from cases.notation.finding_line import FindingLine, SphereThenCylinder, TwoPowers
from cases.notation.prescription import write_axis, write_distance, write_power, write_powers, write_prescription
from cases.optics.axes import across, axis_of
from cases.optics.lens import SphCyl
from cases.optics.vergence import vergence, working_vergence
from quiz.practice.own_findings.referrals import Referral, over_contact_lens, streaks_of
from quiz.practice.own_findings.squaring import off_square
from quiz.practice.own_findings.working_out import BadFindings, Worked, computing_types, work_out


@dataclass(frozen=True)
class LineSum:
    """One result of a line, with the type and the texts that show its working."""

    label: str
    value: str
    beside: str = ""
    """The exact figure where `value` is rounded as the trade does, or the same lens in the other cylinder form."""
    type_id: str = ""
    texts: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class LineResult:
    """One reading of a line with all that follows from it."""

    line: FindingLine
    sums: tuple[LineSum, ...]
    warnings: tuple[str, ...]
    missing: str = ""
    """What would have to be written for more to follow; "" when nothing is missing."""
    referral: Referral | None = None
    """The type that takes what a line cannot hold."""
    net: SphCyl | None = None
    """The lens with the working distance taken off; None where the line does not say from where it was found."""


def line_result(line: FindingLine, form: str = "minus") -> LineResult:
    """Work out all that a reading says; `form` is the cylinder form where the line names none."""
    work = _Work(line, line.form or form)
    try:
        work.whole()
    except BadFindings as error:
        work.warnings += [text for text in error.faults.values() if text]
    except CaseError as error:
        work.warnings.append(str(error))
    return LineResult(
        line, tuple(work.sums), tuple(dict.fromkeys(work.warnings)), work.missing, work.referral, work.net
    )


class _Work:
    """The sums of one line as they are worked out, one from the other."""

    def __init__(self, line: FindingLine, form: str) -> None:
        self.line, self.form = line, form
        self.sums: list[LineSum] = []
        self.warnings: list[str] = []
        if isinstance(line.found, TwoPowers):
            self._square(line.found)
        self.missing = ""
        self.referral: Referral | None = None
        self.net: SphCyl | None = None
        self._texts: dict[str, str] = {}
        self._as = "as-is"
        """The form in which the lens was last written: as in the line until something is worked out."""

    def _square(self, found: TwoPowers) -> None:
        """Take the second direction at right angles to the first, with a warning where it is not."""
        warning = off_square(found.first, found.second, "meridians" if found.along else "streaks")
        if warning:
            self.warnings.append(warning)
            self.line = replace(self.line, found=replace(found, second=across(found.first)))

    def whole(self) -> None:
        line = self.line
        if line.found is None:
            self._distance_alone()
            return
        found = self._net()
        if found is None:
            return
        if self.line.net or self.line.distance_cm is not None or self.line.working_lens is not None:
            self.net = found
        if line.worn is not None:
            found = self._over(line.worn, found)
        if line.added is not None:
            found = self._added(found, line.added)
        if found is not None:
            self._about(found)
            if line.vertex_mm:
                self._moved(found, *line.vertex_mm)

    # --- what was found -------------------------------------------------------------------------------------------

    def _distance_alone(self) -> None:
        if self.line.working_lens is not None:
            worked = self._work("vergence-distance", {"power": write_power(self.line.working_lens)})
            self._add("Working distance", worked, "vergence-distance")
        elif self.line.distance_cm is not None:
            worked = self._work("distance-vergence", {"distance_cm": write_distance(self.line.distance_cm)})
            taken = working_vergence(self.line.distance_cm)
            self._add("Working distance in dioptres", worked, "distance-vergence", f"taken off as {taken:.2f} D")

    def _net(self) -> SphCyl | None:
        """Return the net lens, or the lens as it was written where nothing is to be taken off."""
        line, found = self.line, self.line.found
        distance = line.distance_cm
        if line.working_lens is not None and distance is None:
            distance = 100 / line.working_lens
        if line.net or distance is None:
            return self._as_found(found)
        exact_off = vergence(distance)
        texts = {"distance_cm": write_distance(distance), "form": self.form}
        match found:
            case SphCyl() if line.included is not None:
                return self._net_in_frame(found, distance, texts)
            case SphCyl(cylinder=0):
                sphere = write_power(found.sphere)
                worked = self._work("net-sphere", {"gross": sphere, "distance_cm": texts["distance_cm"]})
                return self._net_sum(worked, "net-sphere", SphCyl(found.sphere - exact_off))
            case SphCyl():
                texts |= streaks_of(found)
                worked = self._work("two-spheres", texts)
                return self._net_sum(worked, "two-spheres", SphCyl(-exact_off) + found)
            case TwoPowers():
                worked = self._work("two-spheres", texts | _streaks(found))
                meridian = across(found.streaks[0])
                gross = SphCyl.from_meridians(meridian, found.first_power, found.second_power)
                return self._net_sum(worked, "two-spheres", SphCyl(-exact_off) + gross)
            case SphereThenCylinder(a, sphere, b, cylinder):
                texts |= {"sphere": write_power(sphere), "sphere_streak": write_axis(a)}
                texts |= {"cylinder": write_power(cylinder), "cylinder_streak": write_axis(b)}
                return self._net_sum(self._work("sphere-then-cyl", texts), "sphere-then-cyl", None)
        return None

    def _net_in_frame(self, found: SphCyl, distance: float, texts: dict[str, str]) -> SphCyl:
        lens = self.line.working_lens or 0.0
        others = SphCyl(-lens) + found if self.line.included else found
        listed = f"{write_prescription(others, 'as-is')}; {write_power(lens)}"
        worked = self._work("frame-net", texts | {"lenses": listed, "working_lens": write_power(lens)})
        return self._net_sum(worked, "frame-net", SphCyl(lens - vergence(distance)) + others)

    def _net_sum(self, worked: Worked, type_id: str, exact: SphCyl | None) -> SphCyl:
        net = worked.case.truth[worked.case.type.asks[0].name]
        net = net if isinstance(net, SphCyl) else SphCyl(net)
        shown = write_prescription(net, self.form)
        self._as = self.form
        beside = ""
        if exact is not None and not exact.equals(net, 0.005):
            beside = f"exactly {write_prescription(exact.in_form(self.form), 'as-is', decimals=2)}"
        self.sums.append(LineSum("Net", shown, beside, type_id, dict(self._texts)))
        return net

    def _as_found(self, found: object) -> SphCyl | None:
        match found:
            case SphCyl():
                line = self.line
                if not line.net and not line.vertex_mm and line.worn is None and line.added is None:
                    self.missing = (
                        "Nothing was taken off. If this is gross, write the working distance too, for example 67 cm."
                    )
                return found
            case TwoPowers(first, first_power, _, second_power):
                meridian = across(found.streaks[0]) if not found.along else first
                pairs = ((meridian, first_power), (across(meridian), second_power))
                worked = self._work("cross-to-rx", {"powers": write_powers(pairs), "form": self.form})
                label = "Net" if self.line.net else "As found, with nothing taken off"
                if not self.line.net and not found.along:
                    self.missing = "Write the working distance too, for example 67 cm, and it is taken off."
                return self._lens(label, worked, "cross-to-rx")
            case _:
                self.missing = "Write the working distance too, for example 67 cm."
                return None

    # --- what follows ---------------------------------------------------------------------------------------------

    def _over(self, worn: SphCyl, found: SphCyl) -> SphCyl | None:
        if self.line.contact_lens:
            vertex_mm = f"{self.line.vertex_mm[0]:g}" if self.line.vertex_mm else ""
            self.referral = over_contact_lens(*_written(worn, found), vertex_mm)
            if self.referral is not None:
                return None
            texts = {"lens": write_power(worn.sphere), "found": write_power(found.sphere)}
            if vertex_mm:
                texts["vertex_mm"] = vertex_mm
            self._add(
                "Contact lens needed", self._work("soft-lens-over-refraction", texts), "soft-lens-over-refraction"
            )
            return None
        texts = {"worn": write_prescription(worn, "as-is"), "found": write_prescription(found, "as-is")}
        worked = self._work("over-refraction", texts | {"form": self.form})
        return self._lens("Correction needed", worked, "over-refraction")

    def _added(self, first: SphCyl | None, second: SphCyl) -> SphCyl | None:
        if first is None:
            return None
        texts = {"first": write_prescription(first, "as-is"), "second": write_prescription(second, "as-is")}
        worked = self._work("crossed-sum", texts | {"form": self.form})
        return self._lens("Together", worked, "crossed-sum")

    def _about(self, lens: SphCyl) -> None:
        """Write what one lens is in other words: other form, spherical equivalent, cross."""
        if not lens.cylinder:
            return
        rx = {"rx": write_prescription(lens, self._as)}
        self._add("The same in the other cylinder form", self._work("transpose", rx), "transpose")
        self._add("Spherical equivalent", self._work("spherical-equivalent", rx), "spherical-equivalent")
        self._add("Power cross", self._work("rx-to-cross", rx), "rx-to-cross")

    def _moved(self, lens: SphCyl, before: float, after: float) -> None:
        towards = {"toward_eye_mm": f"{before - after:g}"}
        label = f"At {after:g} mm from the cornea" if after else "At the cornea"
        if lens.cylinder:
            texts = towards | {"rx": write_prescription(lens, self.form), "form": self.form}
            self._add(label, self._work("vertex-toric", texts), "vertex-toric")
        else:
            self._add(
                label, self._work("vertex-sphere", towards | {"power": write_power(lens.sphere)}), "vertex-sphere"
            )

    # --- one sum --------------------------------------------------------------------------------------------------

    def _work(self, type_id: str, texts: Mapping[str, str]) -> Worked:
        worked = work_out(computing_types()[type_id], texts)
        self._texts = dict(texts)
        self.warnings += worked.warnings
        return worked

    def _add(self, label: str, worked: Worked, type_id: str, beside: str = "") -> None:
        first = worked.case.truth[worked.case.type.asks[0].name]
        if not beside and isinstance(first, SphCyl) and not _in_quarters(first):
            beside = f"nearest quarters {write_prescription(_quartered(first).in_form(self.form), 'as-is')}"
        value = "; ".join(one.value for one in worked.answers)
        self.sums.append(LineSum(label, value, beside, type_id, dict(self._texts)))

    def _power(self, label: str, worked: Worked, type_id: str) -> None:
        """Add a sum whose result is one power, with the nearest quarter beside it."""
        power = worked.case.truth[worked.case.type.asks[0].name]
        quarter = round(power * 4) / 4
        self._add(
            label, worked, type_id, "" if abs(power - quarter) < 1e-6 else f"nearest quarter {write_power(quarter)} D"
        )

    def _lens(self, label: str, worked: Worked, type_id: str) -> SphCyl | None:
        """Add a sum whose result is a lens that others follow from."""
        self._add(label, worked, type_id)
        self._as = self.form
        lens = worked.case.truth[worked.case.type.asks[0].name]
        return lens if isinstance(lens, SphCyl) else None


def _in_quarters(lens: SphCyl) -> bool:
    return all(abs(power * 8 - round(power * 8)) < 1e-6 for power in (lens.sphere, lens.cylinder))


def _quartered(lens: SphCyl) -> SphCyl:
    sphere, cylinder = (round(power * 4) / 4 for power in (lens.sphere, lens.cylinder))
    return SphCyl(sphere, cylinder, axis_of(round(lens.axis)))


def _written(worn: SphCyl, found: SphCyl) -> tuple[str, str]:
    return write_prescription(worn, "as-is"), write_prescription(found, "as-is")


def _streaks(found: TwoPowers) -> dict[str, str]:
    """Write two powers as the findings of a sphere in each meridian."""
    first, second = found.streaks
    return {
        "first.streak": write_axis(first),
        "first.sphere": write_power(found.first_power),
        "second.streak": write_axis(second),
        "second.sphere": write_power(found.second_power),
    }
