"""Pullbook: a performance shop's own record of rolling-road pulls, recomputed every time it is read."""

__version__ = "0.1.0"
