"""The ruler on the demo's own drawing, for every feature of the demo's family that has a place there: it stands on its edge, across
it, away from the metal; the value's mark lies where the value lies between the limits. All data invented."""
import sys
import unittest
from decimal import Decimal
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "end_to_end"))
import states  # noqa: E402
from browser import Page, StillDesk, needs_browser  # noqa: E402
from bench import Shop  # noqa: E402
from small_shop import demo_shop  # noqa: E402

# feature -> what kind of ruler it is: each kind must be there.
KINDS = {"outside-diameter": "outside diameter", "flange-diameter": "outside diameter", "bore": "inside diameter", "length": "height",
         "seat-length": "height", "flange-thickness": "height", "groove-depth": "depth", "groove-width": "width",
         "runout-face": "runout", "runout-outside": "runout", "bolt-hole": "hole in a bolt circle"}

# Of the ruler whose axis is drawn: its middle and way, in the drawing's own units, and what it stands on.
LOOK = """
  const edge = document.querySelector('#page-drawing .now'), group = document.querySelector('#page-overlay .ruler:not(.past)');
  if (!edge || !group) return null;
  const overlay = document.querySelector('#page-overlay').getBoundingClientRect(), n = (e, a) => e[a].baseVal.value;
  const into = edge.getScreenCTM().inverse(), point = (x, y) => new DOMPoint(x + overlay.left, y + overlay.top).matrixTransform(into);
  const axis = group.querySelector('.axis'), from = point(n(axis, 'x1'), n(axis, 'y1')), to = point(n(axis, 'x2'), n(axis, 'y2'));
  const long = Math.hypot(to.x - from.x, to.y - from.y), way = [(to.x - from.x) / long, (to.y - from.y) / long];
  const middle = { x: (from.x + to.x) / 2, y: (from.y + to.y) / 2 };
  let near = Infinity, along = [0, 0];
  const whole = edge.getTotalLength();
  for (let at = 0; at <= 400; ++at) {
    const p = edge.getPointAtLength(whole * at / 400), apart = Math.hypot(p.x - middle.x, p.y - middle.y);
    if (apart < near) {
      near = apart;
      const a = edge.getPointAtLength(Math.max(0, whole * at / 400 - .5)), b = edge.getPointAtLength(Math.min(whole, whole * at / 400 + .5));
      const size = Math.hypot(b.x - a.x, b.y - a.y) || 1;
      along = [(b.x - a.x) / size, (b.y - a.y) / size];
    }
  }
  const metal = (distance) => {
    const p = new DOMPoint(middle.x + way[0] * distance, middle.y + way[1] * distance);
    if (edge.nodeName === 'circle') {  // a hole is not cut out of the end view's disc
      if (Math.hypot(p.x - n(edge, 'cx'), p.y - n(edge, 'cy')) < n(edge, 'r')) return false;
      return Boolean(edge.parentNode.querySelector('.metal').isPointInFill(p));
    }
    return [...document.querySelectorAll('#page-drawing .section .metal')].some((e) => e.isPointInFill(p));
  };
  const limits = [...group.querySelectorAll('.limit')], mark = group.querySelector('.mark');
  const place = (l) => { const p = point((n(l, 'x1') + n(l, 'x2')) / 2, (n(l, 'y1') + n(l, 'y2')) / 2); return (p.x - from.x) * way[0] + (p.y - from.y) * way[1]; };
  const box = axis.getBoundingClientRect(), stage = document.querySelector('#page-stage').getBoundingClientRect();
  const value = document.querySelector('#page-value').getBoundingClientRect();
  const clear = [...group.querySelectorAll('line')].every((e) => { const b = e.getBoundingClientRect(); return b.right <= value.left || b.left >= value.right || b.bottom <= value.top || b.top >= value.bottom; });
  return { edge: edge.id, clear, way, near, across: Math.abs(along[0] * way[0] + along[1] * way[1]), outward: metal(3), inward: metal(-3), limits: limits.map(place), soft: limits.map((l) => l.classList.contains('soft-end')), mark: mark && place(mark),
    inside: box.left >= stage.left - 1 && box.right <= stage.right + 1 && box.top >= stage.top - 1 && box.bottom <= stage.bottom + 1 };
"""


@needs_browser
class Rulers(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        with Shop(demo_shop(look_time=0), benches=()) as shop:
            shop.publish()
            sha = next(each["sha"] for each in shop.get("/api/v1/checklists") if each["size"] == "FB-25")
            cls.edition = shop.get(f"/api/v1/checklists/{sha}")
        views = states.views()
        cls.features = [each for each in cls.edition["features"] if each["kind"] in ("reading", "capture") and each.get("edge")]
        for feature in cls.features:
            views["benches"][f"ruler-{feature['key']}"] = cls.view(feature)
        cls.desk = StillDesk(views)
        cls.addClassCleanup(cls.desk.close)
        cls.page = Page()
        cls.addClassCleanup(cls.page.__exit__)

    @classmethod
    def value(cls, feature):
        """A quarter of the way from the lower limit to the upper; of a one-sided feature a quarter of the limit."""
        lower, upper = feature.get("lower"), feature.get("upper")
        return (Decimal(lower) + (Decimal(upper) - Decimal(lower)) / 4) if lower else Decimal(upper) / 4

    @classmethod
    def view(cls, feature):
        shared = {name: feature.get(name) or None for name in ("balloon", "name", "unit", "nominal", "lower", "upper", "edge", "ruler", "material")}
        shared |= {"feature": feature["key"], "place": None, "decimals": feature.get("decimals", 3)}
        return {"step": states.step(**shared, places=[], kind=feature["kind"]), "earlier": [],
                "last": states.last(**shared, kind=feature["kind"], value=str(cls.value(feature)), verdict="accept", side="lower" if feature.get("lower") else "upper", by="0.001", sent=None)}

    def test_every_feature_of_the_demo_has_its_ruler_on_its_edge(self):
        kinds = set()
        for feature in self.features:
            key = feature["key"]
            kinds.add(KINDS[key if key in KINDS else key.rsplit("-", 1)[0]])
            for width, height in ((1920, 1080), (1024, 768), (320, 640)):
                with self.subTest(key, width=width):
                    self.page.size(width, height)
                    self.page.open(self.desk.bench(f"ruler-{key}"))
                    seen = self.page.wait_for(lambda: self.page.run(LOOK), "the ruler")
                    self.page.picture(f"ruler-{key}-{width}")
                    self.assertIn(seen["edge"], (f"drawn-{feature['edge']}", f"drawn-edge-{feature['edge']}"))
                    self.assertLess(seen["near"], 2, "it stands on its edge")
                    self.assertLess(seen["across"], .1, "it stands across its edge")
                    # More material grows away from the metal, into the free.
                    self.assertEqual((seen["outward"], seen["inward"]), (False, True))
                    self.assertTrue(seen["inside"])
                    self.assertTrue(seen["clear"], "it keeps clear of the value")
                    lower, upper = seen["limits"]
                    share = (seen["mark"] - lower) / (upper - lower)
                    self.assertAlmostEqual(share, .25, delta=.03)
                    # Of an outside the larger value is more material, of an inside the smaller.
                    self.assertEqual(upper > lower, feature.get("material") != "inside")
                    self.assertEqual(seen["soft"], [not feature.get("lower"), not feature.get("upper")])
        self.assertEqual(kinds, set(KINDS.values()))

    def test_a_bolt_holes_ruler_is_radial(self):
        ways = []
        for number in range(1, 5):
            self.page.size(1920, 1080)
            self.page.open(self.desk.bench(f"ruler-bolt-hole-{number}"))
            ways.append(self.page.wait_for(lambda: self.page.run(LOOK), "the ruler")["way"])
        for way in ways:  # the holes lie at 45 degrees, and more material lies towards the hole's middle
            self.assertAlmostEqual(abs(way[0]), .7071, places=2)
            self.assertAlmostEqual(abs(way[1]), .7071, places=2)
        self.assertEqual({(way[0] > 0, way[1] > 0) for way in ways}, {(True, True), (True, False), (False, True), (False, False)})


if __name__ == "__main__":
    unittest.main()
