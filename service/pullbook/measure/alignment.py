"""Alignment: what was recorded late, or on another clock, laid where it belongs."""

from pullbook.measure.clocks import ClockOffset, clock_offset

__all__ = ["ClockOffset", "clock_offset"]
