"""An accuracy log as arrays, for statistics."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Sample:
    """The log as arrays, one row an eye. Vectors are (M, J0, J45) in D, angles counted alike for both eyes."""

    patient: NDArray[np.int64]
    right: NDArray[np.bool_]
    difference: Floats
    """Retinoscopy less end-point, n × 3."""
    middle: Floats
    """Half way between the two, n × 3."""
    end_point: Floats
    """n × 3."""
    distance_cm: Floats
    day: Floats
    """Of the examination, in days."""
    accommodates: Floats
    """1 where accommodation may be in play, 0 where not, NaN where not known."""
    young: Floats
    """1 under 40 years, 0 from 40 on, NaN where the age is not known."""
    weight: Floats = field(init=False)
    """The eyes of one patient share 1: half for each side, shared again among measures of the same eye."""

    def __post_init__(self) -> None:
        weight = np.ones(len(self.patient))
        if len(self.patient):
            key = self.patient * 2 + self.right
            _, side_of, times = np.unique(key, return_inverse=True, return_counts=True)
            _, both_of, sides = np.unique(np.unique(key) // 2, return_inverse=True, return_counts=True)
            weight = 1 / (times * sides[both_of])[side_of]
        object.__setattr__(self, "weight", weight)

    def __len__(self) -> int:
        return len(self.patient)

    @property
    def patients(self) -> int:
        """How many patients the eyes belong to."""
        return len(np.unique(self.patient))

    @property
    def mirrored(self) -> Floats:
        """The differences with left eyes seen as in a mirror, as if they were right ones: J45 changes sign, n × 3.

        A mirror turns an axis A into 180 − A, so that J0 stays.
        """
        return self.difference * np.where(self.right[:, None], 1.0, [1.0, 1.0, -1.0])

    def where(self, which: NDArray[np.bool_]) -> Sample:
        """Return the eyes of a mask alone."""
        return Sample(
            self.patient[which],
            self.right[which],
            self.difference[which],
            self.middle[which],
            self.end_point[which],
            self.distance_cm[which],
            self.day[which],
            self.accommodates[which],
            self.young[which],
        )
