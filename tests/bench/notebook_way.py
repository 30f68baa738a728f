"""What a shop does without this service: a script that reads files with pandas, smooths, bins and draws one page.

Run as `python notebook_way.py OUT.html A.csv B.csv …` in a fresh process; `curve` is timed on its own as well.
"""

import sys
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

C0, C1, C2 = 8.0, 0.05, 4e-4
WINDOW, STEP_RPM = 81, 50.0


def curve(run: "pd.DataFrame", inertia_kg_m2: float = 58.0) -> "pd.DataFrame":
    """Power and what goes with it against engine speed, by rolling means and a group-by."""
    omega = (run["Roller Speed (rev/min)"] * (2 * np.pi / 60)).rolling(WINDOW, center=True, min_periods=1).mean()
    alpha = pd.Series(np.gradient(omega, run["Time (s)"])).rolling(WINDOW, center=True, min_periods=1).mean()
    brake = run["Brake Torque (Nm)"].rolling(WINDOW, center=True, min_periods=1).mean()
    power = omega * (inertia_kg_m2 * alpha + brake + C0 + C1 * omega + C2 * omega**2)
    table = run.assign(power=power)[run["Throttle (%)"] > 95.0]
    bins = (table["Engine Speed (rpm)"] / STEP_RPM).round() * STEP_RPM
    wanted = ["power", "Engine Speed (rpm)", "Lambda", "Manifold Absolute Pressure (kPa)"]
    grid = table.groupby(bins)[wanted].agg(["mean", "std"])
    grid[("torque", "mean")] = grid[("power", "mean")] / (grid[("Engine Speed (rpm)", "mean")] * (2 * np.pi / 60))
    return grid


def main(out: str, names: list[str]) -> None:
    """Read, compute, draw, write."""
    import plotly.graph_objects as go
    from plotly.subplots import make_subplots

    figure: Any = make_subplots(rows=4, cols=1, shared_xaxes=True)
    for name in names:
        grid = curve(pd.read_csv(name))
        lines = (
            grid[("power", "mean")] / 1000.0,
            grid[("torque", "mean")],
            grid[("Lambda", "mean")],
            grid[("Manifold Absolute Pressure (kPa)", "mean")],
        )
        for row, line in enumerate(lines, start=1):
            figure.add_trace(go.Scatter(x=grid.index, y=line, name=Path(name).stem), row=row, col=1)
    figure.write_html(out, include_plotlyjs=True)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2:])
