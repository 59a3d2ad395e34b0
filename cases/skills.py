"""Steps and slips that several families share, by name: what a learner's memory is kept for, wherever it is met."""

from cases.working import Skill, SlipName

DISTANCE_IN_DIOPTRES = Skill("distance-in-dioptres", "turning the working distance into dioptres")
TAKE_OFF_DISTANCE = Skill("take-off-distance", "taking the working distance off")
READ_SCALE = Skill("read-scale", "reading angles off the dial")
READ_MERIDIAN = Skill("read-meridian", "telling the meridian from the streak")
PLACE_AXIS = Skill("place-axis", "placing the axis")
CHOOSE_SPHERE = Skill("choose-sphere", "choosing which meridian gives the sphere")
FIND_CYLINDER = Skill("find-cylinder", "finding the cylinder as a difference")
TURN_SPHERE = Skill("turn-sphere", "carrying the cylinder into the new sphere")
TURN_SIGN = Skill("turn-sign", "changing the cylinder's sign")
TURN_AXIS = Skill("turn-axis", "turning the axis through 90")
MOVEMENT_TO_LENS = Skill("movement-to-lens", "answering a movement with the right lens")
POWER_LEFT = Skill("power-left", "working out what is still wanted in a meridian")
POWER_TO_MOVEMENT = Skill("power-to-movement", "foretelling the movement from what is still wanted")

DISTANCE_LEFT_IN = SlipName(
    "distance-left-in",
    "left the working distance in",
    "Your lenses are right, but they still hold the part that brings the light to you instead of to infinity. "
    "Take the working distance off.",
    "named in a study guide for ophthalmic assistants among refraction traps; small arithmetic slips at this step: "
    "Eye News, “commonest mistakes”",
)
DISTANCE_ADDED = SlipName(
    "distance-added",
    "added the working distance",
    "That went the wrong way. What neutralised is always the more plus of the two, so the net comes out less plus.",
)
DISTANCE_TAKEN_TWICE = SlipName(
    "distance-taken-twice",
    "took the distance off twice",
    "The working lens was already out of your total; then the distance came off once more.",
)
ALWAYS_ONE_FIFTY = SlipName(
    "always-one-fifty",
    "took off 1.50 whatever the distance",
    "1.50 is right at two thirds of a metre only. This time the distance was another.",
)
METRES_NOT_INVERTED = SlipName(
    "metres-not-inverted",
    "used the metres as if they were dioptres",
    "That is the distance itself. Dioptres are one over metres.",
)
OFF_THE_CYLINDER_AS_WELL = SlipName(
    "off-cylinder-as-well",
    "took the distance off the cylinder as well",
    "The distance is the same in every direction, so it comes off the sphere and leaves the cylinder as it was.",
)
OFF_THE_CYLINDER_INSTEAD = SlipName(
    "off-cylinder-instead",
    "took the distance off the cylinder instead of the sphere",
    "That changed the astigmatism, and sitting nearer cannot alter a cylinder. The distance comes off the sphere.",
)
SIGN_BLIND = SlipName(
    "sign-blind-subtraction",
    "took the distance off the size and put the sign back",
    "With a minus finding, taking off plus makes it more minus: −2.00 less 1.50 is −3.50, not −0.50.",
)
SCALE_MIRRORED = SlipName(
    "scale-mirrored",
    "read the scale as the patient sees it",
    "Angles run anticlockwise as you face the patient, for both eyes alike. Yours ran the other way round.",
)
SCALE_FROM_VERTICAL = SlipName(
    "scale-from-vertical",
    "measured from the vertical",
    "The scale starts from the horizontal. You counted from the vertical.",
)
SWEEP_FOR_STREAK = SlipName(
    "sweep-for-streak",
    "took the streak for the meridian",
    "The sweep runs across the streak. The meridian measured is the way you moved, not the way the streak lies.",
)
AXIS_AT_POWER = SlipName(
    "axis-at-the-power",
    "wrote the axis where the power acts",
    "That is where the cylinder acts. Its axis lies at right angles to that, along your streak.",
)
WRONG_SPHERE = SlipName(
    "wrong-sphere",
    "started from the other meridian's power",
    "A minus cylinder starts from the more plus meridian, a plus cylinder from the less plus one.",
)
MEAN_AS_SPHERE = SlipName(
    "mean-as-sphere",
    "wrote the mean as the sphere",
    "That is the spherical equivalent. The written sphere is one end, not the middle.",
)
SECOND_AS_CYLINDER = SlipName(
    "second-power-as-cylinder",
    "wrote the second power as the cylinder",
    "The second power is a total. The cylinder is the difference between the two.",
)
SIZES_ADDED = SlipName(
    "sizes-added",
    "added the two sizes",
    "Subtract with the signs: +3.00 and +2.25 are 0.75 apart, and so are −3.00 and −2.25.",
)
SIZES_SUBTRACTED = SlipName(
    "sizes-subtracted-across-zero",
    "subtracted the sizes though one was plus and one minus",
    "One was plus and one minus, so the gap between them spans zero.",
)
CYLINDER_SIGN_FLIPPED = SlipName(
    "cylinder-sign-flipped",
    "gave the cylinder the sign of the other form",
    "Sphere and axis belong to one form, your cylinder's sign to the other.",
)
SPHERE_NOT_READDED = SlipName(
    "sphere-not-readded",
    "kept the old sphere",
    "The new sphere is the old sphere plus the cylinder, with its sign.",
)
CYLINDER_SUBTRACTED = SlipName(
    "cylinder-subtracted",
    "subtracted the cylinder from the sphere",
    "The cylinder was taken away. Add it, with its sign.",
)
SIGN_KEPT = SlipName(
    "cylinder-sign-kept",
    "kept the cylinder's sign",
    "Change the cylinder's sign as well: same size, other sign.",
)
AXIS_NOT_TURNED = SlipName(
    "axis-not-turned",
    "left the axis where it was",
    "Two of the three moves are done: swing the axis through 90 too.",
)
MOVEMENT_SWAPPED = SlipName(
    "with-and-against-swapped",
    "swapped with and against",
    "With wants plus, against wants minus. The other way the reflex only gets slower.",
)
