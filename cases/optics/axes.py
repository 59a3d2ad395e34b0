"""Axes and meridians in degrees, as they go round at 180 on the dial of a trial frame."""

from __future__ import annotations


def axis_of(angle: float) -> float:
    """Bring any angle in degrees into the trade's half-open range 0 < axis ≤ 180 (0 is written 180).

    Source: ISO 8429, graduated dial scale.
    """
    turned = angle % 180
    return 180.0 if turned < 1e-9 or 180 - turned < 1e-9 else turned


def across(angle: float) -> float:
    """Return the axis or meridian at right angles to this one, 0 < result ≤ 180, in degrees."""
    return axis_of(angle + 90)


def axis_gap(a: float, b: float) -> float:
    """Return the smaller angle between two axes or meridians, 0..90 degrees."""
    gap = abs(a - b) % 180
    return min(gap, 180 - gap)


def at_right_angles(a: float, b: float) -> bool:
    """Say whether two axes or meridians in degrees lie across each other, within the degree that a dial is read to."""
    return axis_gap(b, across(a)) <= 1
