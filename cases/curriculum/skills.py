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
POWER_LEFT = Skill("power-left", "working out what is still wanted in a meridian")
POWER_TO_MOVEMENT = Skill("power-to-movement", "foretelling the movement from what is still wanted")
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
    "took 1.50 for the distance, whatever it was",
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
OFF_ONE_MERIDIAN = SlipName(
    "off-one-meridian-only",
    "took the distance off one meridian only",
    "Both meridians hold the same working distance, and it came off one of them.",
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
    "That is where the cylinder acts. Its axis lies at right angles to that.",
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
MISMATCH_MISSED = SlipName(
    "working-lens-for-distance",
    "took off the working lens though the distance was another",
    "The lens in the cell did not match where you sat. Take off what the distance really was.",
    "a teaching page on the working distance warns of the mismatch",
)
DRIFT_REVERSED = SlipName(
    "drift-sign-reversed",
    "took the drift the other way round",
    "Closer than assumed means more vergence than was taken off, so what was written is too plus: the error is plus.",
    "a published mock examination station asks for this sign",
)
DRIFT_BY_CENTIMETRES = SlipName(
    "drift-by-centimetres",
    "turned the centimetres straight into dioptres",
    "The change in dioptres is not in proportion to the centimetres: work out both distances and subtract.",
)
DISTANCE_IGNORED = SlipName(
    "distance-ignored-in-movement",
    "compared the eye with zero instead of with the working distance",
    "A low myope still shows with at this distance. Compare the eye with −1/d, not with zero.",
)
LENSES_IGNORED = SlipName(
    "lenses-in-place-forgotten", "forgot the lens already in place", "Count what is already in the frame."
)
SPEED_REVERSED = SlipName(
    "speed-reversed",
    "took slow for near neutral",
    "Slow and dull is far away; fast and bright is nearly there.",
)
AGAINST_AS_FARTHER = SlipName(
    "against-as-farther",
    "took against for farther off than with",
    "With and against say on which side of neutral you are, not how far from it. The speed says how far.",
)
DULL_AS_NEUTRAL = SlipName(
    "dull-taken-for-neutral",
    "took a dull reflex without movement for neutral",
    "No movement and dull is a large error in disguise. Neutral is bright. Hold up a large plus and a large minus.",
    "a continuing-education answer on high refractive errors advises large lenses or a shorter distance",
)
FIRST_AGAINST_TAKEN = SlipName(
    "first-against-taken",
    "took the first lens that gave against",
    "That is one step past. Neutral lies between the last with and the first against.",
)
LAST_WITH_TAKEN = SlipName(
    "last-with-taken",
    "took the last lens that still left with",
    "That is a step too early. Go on until the movement turns round, then come back half-way.",
)
THROUGH_THE_NUMBERS = SlipName(
    "through-the-numbers",
    "went by the larger number instead of round the dial",
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
SPHERE_ONLY = SlipName("sphere-alone-as-equivalent", "left the cylinder out", "The cylinder's half share was dropped.")
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
    "Turn the streak towards the reflex: the break closes as you come to the axis, and opens as you leave it.",
    "that reflex and streak part company off axis: AAO image caption, “Skew”",
)
