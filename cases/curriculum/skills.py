"""Steps and slips that several families share, by name: what a learner's memory is kept for, wherever it is met."""

from cases.procedure.chain import Skill, SlipName

DISTANCE_IN_DIOPTRES = Skill("distance-in-dioptres", "turning a distance into dioptres")
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
POWER_LEFT = Skill("power-left", "working out what a meridian still needs")
POWER_TO_MOVEMENT = Skill("power-to-movement", "predicting the movement from what is still needed")
ADD_LENSES = Skill("add-lenses", "adding up every lens in the frame")
COMPARE_DISTANCES = Skill("compare-distances", "comparing two distances in dioptres")
NO_DISTANCE_DUE = Skill("no-distance-due", "knowing when no distance comes off")
EYE_IN_MERIDIANS = Skill("eye-in-meridians", "finding the eye's power along each meridian")
LOOK_TO_DISTANCE = Skill("look-to-distance-from-neutral", "judging by its look how far from neutral a reflex is")
CENTRE_END_POINT = Skill("centre-end-point", "taking the middle of the end-point")
TURN_ON_DIAL = Skill("turn-on-dial", "knowing which way a turn goes on the dial")
POWER_ACROSS_AXIS = Skill("power-across-axis", "knowing the power across the axis")
HALVE_CYLINDER = Skill("halve-cylinder", "taking half of the cylinder")
ADD_HALF = Skill("add-half-cylinder", "adding the half cylinder with its sign")
COUNT_WORN_LENS = Skill("count-worn-lens", "counting the lens that is already worn")
CYLINDER_CHANGE = Skill("cylinder-change", "finding the cylinder by which two lenses differ")
ANGLE_FROM_AXIS = Skill("angle-from-axis", "measuring a meridian from the axis")
SHARE_OF_CYLINDER = Skill("share-of-cylinder", "finding a cylinder's share along a meridian")
ADD_SHARE = Skill("add-share", "adding the cylinder's share to the sphere")
ACCOMMODATIVE_RESPONSE = Skill("accommodative-response", "finding how much the eye accommodates")

DISTANCE_LEFT_IN = SlipName(
    "distance-left-in",
    "did not subtract the working distance",
    "Your lenses neutralise for your working distance, not for infinity. Take the working distance off.",
    ("study-guide", "commonest-mistakes"),
)
DISTANCE_ADDED = SlipName(
    "distance-added",
    "added the working distance",
    "The working distance was added instead of taken off. The gross result is always the more plus of the two.",
)
DISTANCE_TAKEN_TWICE = SlipName(
    "distance-taken-twice",
    "took the distance off twice",
    "The working lens was not in your total, so the working distance was already off. You took it off again.",
)
ALWAYS_ONE_FIFTY = SlipName(
    "always-one-fifty",
    "took off 1.50 D, which was not right for this distance",
    "1.50 D is right at 67 cm only. This case has another distance.",
)
METRES_NOT_INVERTED = SlipName(
    "metres-not-inverted",
    "used metres as dioptres",
    "That is the distance in metres. Dioptres are 1 divided by metres.",
)
OFF_THE_CYLINDER_AS_WELL = SlipName(
    "off-cylinder-as-well",
    "took the distance off the cylinder as well",
    "The working distance is the same in every meridian. It comes off the sphere; the cylinder stays.",
)
OFF_THE_CYLINDER_INSTEAD = SlipName(
    "off-cylinder-instead",
    "took the distance off the cylinder instead of the sphere",
    "That changes the astigmatism, and your distance cannot alter a cylinder. Take the distance off the sphere.",
)
OFF_ONE_MERIDIAN = SlipName(
    "off-one-meridian-only",
    "took the distance off one meridian only",
    "Both meridians include the working distance. You took it off one of them only.",
)
SIGN_BLIND = SlipName(
    "sign-blind-subtraction",
    "took the distance off the size and then put the sign back",
    "With a minus finding, taking off plus makes it more minus: −2.00 less 1.50 is −3.50, not −0.50.",
)
SCALE_MIRRORED = SlipName(
    "scale-mirrored",
    "read the scale as the patient sees it",
    "Angles run anticlockwise as you face the patient, for both eyes. You read them clockwise.",
)
SCALE_FROM_VERTICAL = SlipName(
    "scale-from-vertical",
    "measured from the vertical",
    "The scale starts from the horizontal. You counted from the vertical.",
)
SWEEP_FOR_STREAK = SlipName(
    "sweep-for-streak",
    "took the streak for the meridian",
    "You sweep across the streak. You measure the meridian along your sweep, not the one along the streak.",
)
AXIS_AT_POWER = SlipName(
    "axis-at-the-power",
    "wrote the axis where the power acts",
    "That is the meridian of the cylinder's power. Its axis is at right angles to it.",
)
WRONG_SPHERE = SlipName(
    "wrong-sphere",
    "started from the other meridian's power",
    "A minus cylinder starts from the more plus meridian, a plus cylinder from the less plus one.",
)
MEAN_AS_SPHERE = SlipName(
    "mean-as-sphere",
    "wrote the spherical equivalent as the sphere",
    "The spherical equivalent is the mean of the two powers. The sphere is the power of one meridian.",
)
SECOND_AS_CYLINDER = SlipName(
    "second-power-as-cylinder",
    "wrote the second power as the cylinder",
    "The second power is the whole power of that meridian. The cylinder is the difference between the two.",
)
SIZES_ADDED = SlipName(
    "sizes-added",
    "added the two sizes",
    "Subtract with the signs: +3.00 and +2.25 are 0.75 apart, and so are −3.00 and −2.25.",
)
SIZES_SUBTRACTED = SlipName(
    "sizes-subtracted-across-zero",
    "subtracted the sizes though one was plus and one minus",
    "One power is plus and one minus, so the difference crosses zero: add the sizes.",
)
CYLINDER_SIGN_FLIPPED = SlipName(
    "cylinder-sign-flipped",
    "gave the cylinder the sign of the other form",
    "Sphere and axis belong to one form, your cylinder's sign to the other.",
)
SPHERE_NOT_READDED = SlipName(
    "sphere-not-readded",
    "left the sphere as it was",
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
    "Sphere and cylinder were changed; turn the axis by 90° too.",
)
MOVEMENT_SWAPPED = SlipName(
    "with-and-against-swapped",
    "swapped with and against",
    "With needs plus, against needs minus. The wrong lens only makes the reflex slower.",
)
MISMATCH_MISSED = SlipName(
    "working-lens-for-distance",
    "took off the working lens though the distance was another",
    "The working lens did not match your distance. Take off the vergence of the distance you really used.",
    ("working-distance-page",),
)
DRIFT_REVERSED = SlipName(
    "drift-sign-reversed",
    "took the drift the other way round",
    "Closer than assumed means more vergence than was taken off, so what was written is too plus: the error is plus.",
    ("mock-station",),
)
DRIFT_BY_CENTIMETRES = SlipName(
    "drift-by-centimetres",
    "turned the centimetres straight into dioptres",
    "The change in dioptres is not in proportion to the centimetres: work out both distances and subtract.",
)
DISTANCE_IGNORED = SlipName(
    "distance-ignored-in-movement",
    "compared the eye with zero instead of the working distance",
    "A low myope still shows with at this distance. Compare the eye with −1/d, not with zero.",
)
LENSES_IGNORED = SlipName(
    "lenses-in-place-forgotten", "forgot the lens already in place", "Count what is already in the frame."
)
SPEED_REVERSED = SlipName(
    "speed-reversed",
    "took slow for near neutral",
    "A slow reflex is far from neutral and a fast one is near. Brightness does not say: the brightest band comes "
    "before neutral, and against is duller than with.",
)
AGAINST_AS_FARTHER = SlipName(
    "against-as-farther",
    "took against for farther off than with",
    "With and against say on which side of neutral you are, not how far from it. The speed says how far.",
)
DULL_AS_NEUTRAL = SlipName(
    "dull-taken-for-neutral",
    "took a dull reflex without movement for neutral",
    "No movement in a dull reflex can be a large error. Neutral is bright. Try a strong plus and a strong minus.",
    ("optician-question-46",),
)
FIRST_AGAINST_TAKEN = SlipName(
    "first-against-taken",
    "stopped at the first lens that gave against",
    "That is one step past. Neutral lies between the last with and the first against.",
)
LAST_WITH_TAKEN = SlipName(
    "last-with-taken",
    "stopped at the last lens that still gave with",
    "That is one step too early. Go on until the movement reverses, then come back half-way.",
)
THROUGH_THE_NUMBERS = SlipName(
    "through-the-numbers",
    "went by the larger number instead of around the dial",
    "On the dial 180 is followed by 1: from 170 to 35 is 45° up the scale.",
)
MIDDLE_PAST_180 = SlipName(
    "middle-across-180",
    "halved the two axis numbers although they lie on either side of 180",
    "Half-way between 175 and 5 is 180, not 90: go round the dial, not through the numbers.",
)
CYLINDER_ALONE = SlipName(
    "cylinder-alone-on-cross",
    "put the cylinder alone across the axis",
    "That meridian feels sphere and cylinder together.",
)
WHOLE_CYLINDER = SlipName("whole-cylinder-added", "added the whole cylinder", "Half of the cylinder, not all of it.")
SPHERE_ONLY = SlipName(
    "sphere-alone-as-equivalent", "left the cylinder out", "Half of the cylinder belongs to the spherical equivalent."
)
HALF_UNSIGNED = SlipName(
    "half-cylinder-unsigned",
    "added half the cylinder's size without its sign",
    "A minus cylinder pulls the equivalent towards minus.",
)
LINEAR_FRACTION = SlipName(
    "linear-fraction",
    "shared the cylinder out in proportion to the angle",
    "The share follows the square of the sine: 30° from the axis has a quarter of the cylinder, not a third.",
)
SINE_NOT_SQUARED = SlipName(
    "sine-not-squared",
    "took the sine without squaring it",
    "Square the sine: half of the cylinder acts at 45°, a quarter at 30°.",
)
COSINE_FOR_SINE = SlipName(
    "cosine-for-sine",
    "took the cosine for the sine",
    "Check the two ends: none of the cylinder along its axis, all of it across.",
)
SHARE_ALONE = SlipName(
    "share-without-sphere",
    "gave the cylinder's share without the sphere",
    "The sphere acts in every meridian, so it belongs to the sum.",
)
OVER_REFRACTION_REPLACES = SlipName(
    "over-refraction-replaces",
    "gave what was found over the lens as if nothing were worn",
    "What was found sits on top of what is worn: the eye needs both.",
)
OVER_REFRACTION_TAKEN_OFF = SlipName(
    "over-refraction-taken-off",
    "took what was found off the lens that is worn",
    "The light went through both lenses to reach neutral, so they add. A plus found over the lens means more plus.",
)
SIGN_LOST_IN_SUM = SlipName(
    "sign-lost-in-sum",
    "added the sizes and lost a sign",
    "A plus before a minus weakens it. Add the two with their signs.",
)
LAG_ADDED = SlipName(
    "lag-added-to-demand",
    "added the lag to the demand",
    "A lag means that the eye answers less than it is asked for: take it off the demand.",
)
AXES_LEFT_OUT = SlipName(
    "axes-left-out-of-change",
    "compared the cylinders without their axes",
    "Two equal cylinders at different axes are not the same lens. Compare them as vectors: the change is the cylinder "
    "of the difference.",
)
MILLIMETRES_AS_CENTIMETRES = SlipName(
    "millimetres-as-centimetres",
    "took the millimetres for centimetres",
    "Ten millimetres make a centimetre and a thousand make a metre: 12 mm is 1.2 cm, or 0.012 m.",
)
MARGIN_READ = SlipName(
    "margin-read",
    "read the edge of the pupil instead of its centre",
    "A wide pupil has two readings. The person sees through the middle 3 to 4 mm; make that neutral and let the edge "
    "do as it likes.",
)
AWAY_FROM_REFLEX = SlipName(
    "away-from-reflex",
    "turned the streak away from the reflex",
    "Turn the streak towards the reflex: the break closes as you near the axis, and opens as you leave it.",
    ("skew-figure",),
)
