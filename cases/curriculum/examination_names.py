"""Skills and slips that only a whole examination has: what is done at the chair and in no case. Their names alone.

Beside them an examination shows those of case types: distance, end point, meridians, the sum.
"""

from __future__ import annotations

from cases.procedure.chain import Skill, SlipName

FOG_OTHER_EYE = Skill("fog-other-eye", "fogging the other eye")
SIT_ON_AXIS = Skill("sit-on-axis", "looking along the visual axis")
WATCH_GAZE = Skill("watch-gaze", "reading only while the patient looks")
SET_FRAME = Skill("set-frame", "setting the trial frame")
LEAN_IN = Skill("check-by-leaning", "checking neutral by leaning in")
WRITE_RECORD = Skill("write-record", "writing the record")
SKILLS = (FOG_OTHER_EYE, SIT_ON_AXIS, WATCH_GAZE, SET_FRAME, LEAN_IN, WRITE_RECORD)
"""Skills that no case type has: one does them at the chair only."""

SLIPS = (
    SlipName(
        "other-eye-unfogged",
        "left the other eye unfogged",
        "The eye that is not measured looks at the target and rules the focus of both. Put plus before it.",
    ),
    SlipName("other-eye-overfogged", "fogged the other eye by more than 3 D", "Then nothing holds its focus."),
    SlipName(
        "measured-too-soon",
        "measured before the drops had worked",
        "The reading still climbs. Look from far to near: when the reflex no longer changes, measure.",
    ),
    SlipName("stood-aside", "looked from the side", "Off the axis the eye shows a cylinder that it does not have."),
    SlipName(
        "gaze-away",
        "took a reading while the patient looked away",
        "The eye is then turned, and focused near. Call the gaze, and call neutral at once.",
    ),
    SlipName(
        "distance-not-taken",
        "took off another distance than you sat at",
        "Measure from the eye to the sight hole when you call neutral, and take that off.",
    ),
    SlipName("frame-as-left", "left the trial frame at another distance", "A strong lens acts otherwise there."),
    SlipName("frame-tilted", "left the trial frame tilted", "A tilted lens adds a cylinder."),
    SlipName("no-lean-in", "called neutral without leaning in", "Lean in: with shows. Lean back: against shows."),
    SlipName("eyes-exchanged", "wrote each eye on the other’s line", "Write an eye down before you go to the next."),
    SlipName("sphere-sign-turned", "wrote the sphere with the other sign", "Read it back with its sign."),
    SlipName("forms-mixed", "wrote the sphere of one form with the cylinder of the other", "Keep to one form."),
    SlipName("lens-unsummed", "left a lens in the frame out of the sum", "Add up every cell before you write."),
    SlipName("distance-not-noted", "wrote no working distance", "Without it nobody knows what was taken off."),
    SlipName("drops-not-noted", "did not write which drops, and when", "A wet result reads as a dry one without it."),
)
"""Slips that only an examination shows. Common practice, no published source."""
