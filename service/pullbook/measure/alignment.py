"""Alignment: what was recorded late, or on another clock, laid where it belongs."""

from pullbook.measure.clocks import ClockOffset, clock_offset
from pullbook.measure.curveparts import ProbeLag
from pullbook.measure.probelag import probe_lag

__all__ = ["ClockOffset", "ProbeLag", "clock_offset", "probe_lag"]
