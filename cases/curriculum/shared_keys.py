"""Keys of values that the steps of several families give or read, beside those of steps.py and cross.py."""

from __future__ import annotations

from cases.procedure.keys import Key

ACROSS_POWER = Key[float]("across_power")
AXES = Key[tuple[float, ...]]("axes")
AXIS = Key[float]("axis", unit="°")
CYLINDER = Key[float]("cylinder", unit="D")
CYLINDERS = Key[tuple[float, ...]]("cylinders")
DEMAND = Key[float]("demand", unit="D")
EYE = Key[float]("eye", unit="D")
FIRST_STREAK = Key[float]("first_streak", unit="°")
HALVES = Key[tuple[float, ...]]("halves", unit="D")
LEFT = Key[float]("left")
MEAN = Key[float]("mean", unit="D")
MEANS = Key[tuple[float, ...]]("means", unit="D")
MEAN_DIFFERENCE = Key[float]("mean_difference", unit="D")
MERIDIANS = Key[tuple[float, ...]]("meridians", unit="°")
OFF_AXIS = Key[float]("off_axis")
ONE_NET = Key[float]("net", unit="D")
ON_AXIS = Key[float]("on_axis")
POWERS = Key[tuple[float, ...]]("powers", unit="D")
SECOND_STREAK = Key[float]("second_streak", unit="°")
SHARE = Key[float]("share")
SHARES = Key[tuple[float, ...]]("shares", unit="D")
SPHERE = Key[float]("sphere", unit="D")
SUM = Key[tuple[float, ...]]("sum")
