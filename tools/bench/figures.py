"""Figures: medians of paired ratios with their spread, goals, and the table that shows them."""
import statistics
from dataclasses import asdict, dataclass, field


def percentile(values, share):
    """The value below which `share` of them lie (nearest rank)."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


@dataclass
class Figure:
    """One row. `ours` and `floor`: an entry a pair, in `unit`. `most_ratio`, `most`: the goal, on the median of the paired
    ratios or of ours; `exactly`: on each of ours; none: shown, held to nothing."""
    name: str
    unit: str
    ours: list
    floor: list = field(default_factory=list)
    most_ratio: float | None = None
    most: float | None = None
    exactly: float | None = None
    note: str = ""
    judged: bool = True  # False: measured under conditions that say nothing of the goal

    @property
    def ratios(self):
        return [ours / floor for ours, floor in zip(self.ours, self.floor)]

    @property
    def holds(self):
        """None where there is no goal, or nothing can be said of it."""
        if not self.judged:
            return None
        if self.most_ratio is not None:
            return statistics.median(self.ratios) <= self.most_ratio
        if self.most is not None:
            return statistics.median(self.ours) <= self.most
        if self.exactly is not None:
            return all(value == self.exactly for value in self.ours)
        return None

    def goal(self):
        if self.most_ratio is not None:
            return f"{self.most_ratio:g} x"
        if self.exactly is not None:
            return f"exactly {self.exactly:g}"
        return "" if self.most is None else f"{self.most:g} {self.unit}".strip()

    def cells(self):
        ratio = ""
        if self.floor:
            ratio = f"{statistics.median(self.ratios):.2f} ({min(self.ratios):.2f} to {max(self.ratios):.2f})"
        spread = f" ({short(min(self.ours))} to {short(max(self.ours))})" if not self.floor and len(self.ours) > 1 else ""
        return [self.name, f"{short(statistics.median(self.ours))} {self.unit}".strip() + spread,
                f"{short(statistics.median(self.floor))} {self.unit}".strip() if self.floor else "", ratio, self.goal(),
                {True: "yes", False: "**no**", None: "" if self.judged else "not judged"}[self.holds], self.note]

    def as_json(self):
        return {**asdict(self), "ratios": self.ratios, "holds": self.holds,
                "median_ours": statistics.median(self.ours),
                "median_ratio": statistics.median(self.ratios) if self.floor else None}


def short(value):
    if isinstance(value, int) or value == int(value) and abs(value) < 1e6:
        return f"{int(value):,}"
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.3g}"


HEAD = ["figure", "ours", "floor", "ratio: median (spread)", "goal", "holds", "note"]


def table(figures):
    """As Markdown, the columns aligned for reading as text too."""
    rows = [HEAD] + [figure.cells() for figure in figures]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEAD))]
    lines = ["| " + " | ".join(cell.ljust(width) for cell, width in zip(row, widths)).rstrip() + " |" for row in rows]
    lines.insert(1, "|" + "|".join("-" * (width + 2) for width in widths) + "|")
    return "\n".join(lines)
