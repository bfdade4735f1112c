"""Reading back what a figure drew: elements by id, their paths as points, in figure units."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import numpy as np

SVG = "{http://www.w3.org/2000/svg}"
_TOKEN = re.compile(r"[MLQCZz]|-?\d+(?:\.\d+)?(?:e-?\d+)?")
_STEPS = np.linspace(0.0, 1.0, 33)[1:, None]


class Drawing:
    """A figure's SVG; y is turned to point up."""

    def __init__(self, svg: str) -> None:
        self.root = ET.fromstring(svg)
        self.by_id = {e.get("id"): e for e in self.root.iter() if e.get("id")}

    def ids(self, start: str) -> list[str]:
        return [name for name in self.by_id if name.startswith(start)]

    def path(self, name: str) -> np.ndarray:
        """Points of the element's (first) path, curves made dense."""
        path = next(self.by_id[name].iter(f"{SVG}path"))
        return flattened(path.get("d", ""))

    def marker(self, name: str) -> np.ndarray:
        """Where the element's marker stands."""
        use = next(self.by_id[name].iter(f"{SVG}use"))
        return np.array([float(use.get("x", "nan")), -float(use.get("y", "nan"))])

    def text_count(self) -> int:
        return len(list(self.root.iter(f"{SVG}text")))


def flattened(d: str) -> np.ndarray:
    tokens = _TOKEN.findall(d)
    points: list[np.ndarray] = []
    i, command = 0, ""

    def take(n: int) -> np.ndarray:
        nonlocal i
        values = np.array([float(v) for v in tokens[i : i + 2 * n]]).reshape(n, 2)
        i += 2 * n
        return values * np.array([1.0, -1.0])

    while i < len(tokens):
        if tokens[i].isalpha():
            command = tokens[i]
            i += 1
            if command in "Zz":
                points.append(points[0])
                continue
        if command in "ML":
            points.append(take(1)[0])
        elif command == "Q":
            a, (b, c) = points[-1], take(2)
            points.extend((1 - _STEPS) ** 2 * a + 2 * _STEPS * (1 - _STEPS) * b + _STEPS**2 * c)
        elif command == "C":
            a, (b, c, e) = points[-1], take(3)
            u = 1 - _STEPS
            points.extend(u**3 * a + 3 * u**2 * _STEPS * b + 3 * u * _STEPS**2 * c + _STEPS**3 * e)
    return np.array(points)


def area(points: np.ndarray) -> float:
    x, y = points.T
    return 0.5 * abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))


def scale_and_origin(drawn: np.ndarray, true: np.ndarray) -> tuple[float, np.ndarray]:
    """The one scale and shift that best turn true points into drawn ones."""
    a, b = drawn - drawn.mean(axis=0), true - true.mean(axis=0)
    scale = float((a * b).sum() / (b * b).sum())
    return scale, drawn.mean(axis=0) - scale * true.mean(axis=0)
