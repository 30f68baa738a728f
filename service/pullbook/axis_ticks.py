"""Round numbers for an axis: where its lines and labels go."""

from math import ceil, floor, log10


def step_for(span: float, lines: int) -> float:
    """The step of 1, 2 or 5 times a power of ten that gives about this many lines over a span."""
    if span <= 0:
        return 1.0
    rough = span / max(lines, 1)
    power = 10.0 ** floor(log10(rough))
    return next((size * power for size in (1.0, 2.0, 5.0) if size * power >= rough * 0.999), 10.0 * power)


def ticks(low: float, high: float, lines: int) -> list[float]:
    """Round values that enclose low…high, evenly apart."""
    if high - low < 1e-9:
        low, high = low - 0.5, high + 0.5
    step = step_for(high - low, lines)
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    return [round(number * step, 10) for number in range(first, last + 1)]


def tick_decimals(values: list[float]) -> int:
    """How many decimals tell neighbouring ticks apart."""
    if len(values) < 2:
        return 0
    return max(0, -floor(log10(values[1] - values[0]) + 1e-9))
